"""Questions about work at the bench: presets, what was changed in them, and what was seen on each side."""

from __future__ import annotations

import re

from analysis.records.dictionary import BY_NAME, JOBS
from analysis.records.entering.cells import AnswerError, Rules, one_of
from analysis.records.entering.desk import Row
from analysis.records.entering.presets import Preset, Presets
from analysis.records.entering.questions import Asked, cells_of, listed
from analysis.records.entering.session import Question, Session

SEEN = ("clean_passes_n", "pad_grade_found", "pad_grade_left", "pads_lost_n")
SIDE = ("chip_role", "side", *SEEN)
STEP = ("chip_role", "step_type", "set_temp_c", "airflow_setting", "station_id", "step_s", "preheat_c")
_NOT_CHANGED = ("before_test_no", "step_no", "entry_kind", *JOBS.key)
_CHANGE = re.compile(r"([0-9]{1,3})(?:[\s.]+([a-z_]+)[\s=]+|\s+)(\S+)")

_HOW = (
    "The number of a row, a column of its table and the value: 2 set_temp_c 345. A changed heat step counts as typed,"
    " also where you write what stands there already because you have read it. 2 - leaves row 2 out. Enter: no more."
)

Rows = list[tuple[str, Row]]
Numbered = list[tuple[int, str, Row]]


def preset_rows(presets: list[Preset]) -> Rows:
    """The rows that presets stand for, sides first; heat steps are marked as preset."""
    sides = [("chip_sides", dict(row)) for preset in presets for row in preset.chip_sides]
    steps = [("heat_steps", {**row, "entry_kind": "preset"}) for preset in presets for row in preset.heat_steps]
    return [*sides, *steps]


def change(table: str, row: Row, name: str, text: str) -> Row:
    """A row with one cell changed; a heat step is then one that somebody typed."""
    typed = {"entry_kind": "typed"} if table == "heat_steps" else {}
    return {**row, name: text, **typed}


def row_text(table: str, row: Row) -> str:
    """One row for the eye."""
    what = "side" if table == "chip_sides" else "heat"
    names = [row.get("chip_role", "?"), row.get("side") or row.get("step_type") or "?"]
    hidden = ("chip_role", "side", "step_type", "before_test_no", "step_no")
    cells = [f"{name}={text}" for name, text in row.items() if text and name not in hidden]
    return f"{what}  {' '.join(names)}  {' '.join(cells)}"


def with_source(row: Row) -> Row:
    """A processor's or storage chip's own faces can only be the client's, so it need not be asked."""
    own = row["chip_role"] in ("processor", "storage") and row["side"] != "landing"
    return {**row, "chip_source": row.get("chip_source") or "client"} if own else row


class Work:
    """Asks what was done before one boot test.

    Parameters
    ----------
    session, asked, rules, presets
        The sitting, its questions, how answers are read, and the shop's presets.
    round_no : int
        Which round of work of this sitting it is.
    """

    def __init__(self, session: Session, asked: Asked, rules: Rules, presets: Presets, round_no: int) -> None:
        self._session, self._asked, self._rules, self._presets = session, asked, rules, presets
        self._round = 1000 * round_no

    def rows(self) -> Numbered:
        """All rows of this round of work, each with the number in the keys of its own questions."""
        rows = [
            (number, table, self._seen(row, number) if table == "chip_sides" else row)
            for number, (table, row) in enumerate(self._changed(self._chosen()), start=self._round + 200)
        ]
        return [*rows, *self._further_sides(), *self._further_steps()]

    def _chosen(self) -> Rows:
        presets = self._presets.presets
        if not presets:
            return []
        names = tuple(preset.name for preset in presets)

        def read(text: str) -> str:
            if re.fullmatch(r"[0-9][0-9 ,]*", text):
                numbers = re.findall(r"[0-9]+", text)
                return " ".join(str(names.index(one_of(number, names)) + 1) for number in numbers)
            return str(presets.index(self._presets.named(text)) + 1)

        about = "The shop's own settings, from presets.toml. Several by their numbers: 1 2. Enter: none of them."
        question = Question(f"heat_steps.preset#{self._round}", "presets used", read, help=about, options=listed(names))
        return preset_rows([presets[int(number) - 1] for number in self._session.ask(question).split()])

    def _changed(self, rows: Rows) -> Rows:
        """Show the rows and take changes until there is none."""
        if not rows:
            return rows
        shown = [f"  {n:2} {row_text(table, row)}" for n, (table, row) in enumerate(rows, start=1)]
        self._session.say("\n".join(shown))
        text = "anything different? (row column value, as in: 2 set_temp_c 345; a step not done: 2 -)"
        gone: set[int] = set()
        for n in range(1, 200):
            key = f"heat_steps.change#{self._round + n}"
            answer = self._session.ask(Question(key, text, lambda typed: self._change(rows, typed), help=_HOW))
            if not answer:
                break
            number, *rest = answer.split()
            at = int(number) - 1
            if rest:
                table, row = rows[at]
                rows[at] = table, change(table, row, rest[0], "" if rest[1] == "-" else rest[1])
                self._session.say(f"  {number:>2} {row_text(*rows[at])}")
            else:
                gone.add(at)
            text = "anything else different?"
        return [row for at, row in enumerate(rows) if at not in gone]

    def _change(self, rows: Rows, typed: str) -> str:
        met = _CHANGE.fullmatch(typed)
        if met is None or (met[2] is None and met[3] != "-"):
            todo = "Write row, column and value with a blank between: 2 set_temp_c 345. To leave row 2 out: 2 -"
            raise AnswerError("Not understood.", todo=todo)
        if not 1 <= int(met[1]) <= len(rows):
            raise AnswerError(f"There is no row {met[1]}.", todo=f"The rows above are numbered 1 to {len(rows)}.")
        if met[2] is None:
            return met[1]
        table = rows[int(met[1]) - 1][0]
        if met[2] not in BY_NAME[table].by_name or met[2] in _NOT_CHANGED:
            names = [name for name in BY_NAME[table].names if name not in _NOT_CHANGED]
            name = one_of(met[2], tuple(names))
        else:
            name = met[2]
        text = "" if met[3] == "-" else self._rules.read(BY_NAME[table][name], met[3])
        return f"{met[1]} {name} {text or '-'}"

    def _seen(self, row: Row, number: int) -> Row:
        """What was counted and seen on a side that a preset named."""
        where = f"{row['chip_role']} {row['side']}"
        text = f"{where}: passes, worst pad found, worst pad left, pads lost (as in: 2 1 0 0; - not seen)"
        question = self._asked.line("chip_sides", SEEN, key=f"seen#{number}", text=text)
        return self._lost_at({**row, **cells_of(SEEN, self._session.ask(question))}, number)

    def _lost_at(self, row: Row, number: int) -> Row:
        row = with_source(row)
        if int(float(row.get("pads_lost_n", "0"))) < 1:
            return row
        about = f"{row['chip_role']} {row['side']}: "
        where = self._session.ask(self._asked.column("chip_sides", "pads_lost_at", number=number, about=about))
        return {**row, "pads_lost_at": where} if where else row

    def _lines(self, table: str, names: tuple[str, ...], text: str, first: int) -> list[tuple[int, Row]]:
        """Rows typed in one line each, until none is."""
        out: list[tuple[int, Row]] = []
        for number in range(first, first + 200):
            key = f"line#{number}"
            question = self._asked.line(table, names, key=key, text=text, needed=2, known_codes=not out)
            answer = self._session.ask(question)
            if not answer:
                break
            out.append((number, cells_of(names, answer)))
        return out

    def _further_sides(self) -> Numbered:
        text = "another side (chip side passes found left lost, as in: storage lower 2 1 0 0; Enter: no more)"
        lines = self._lines("chip_sides", SIDE, text, self._round + 400)
        return [(number, "chip_sides", self._lost_at(row, number)) for number, row in lines]

    def _further_steps(self) -> Numbered:
        how = "chip step °C air station s preheat, as in: storage install 330 40 S1 60"
        text = f"another heat step ({how}; Enter: no more)"
        lines = self._lines("heat_steps", STEP, text, self._round + 700)
        return [(number, "heat_steps", {**row, "entry_kind": "typed"}) for number, row in lines]
