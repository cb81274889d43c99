"""The form of notebooks/enter_job.ipynb: fields from the dictionary, faults beside them, written like an entry."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from html import escape
from pathlib import Path
from typing import Any

from analysis.errors import LogError, ReworkError
from analysis.records.dictionary import DONOR_FACTS, Column, Kind, KnownAt, Required
from analysis.records.entering.desk import Desk, Row
from analysis.records.entering.form import Filled, Place, by_place, fields_of, fill, tell
from analysis.records.entering.questions import unit_of
from analysis.records.entering.storing import HalfWrittenError, Stored, kept_answers, recover, store
from analysis.records.entering.trial import RefusedEntryError, faults_of
from analysis.records.entering.work import change, preset_rows
from analysis.records.problems import Problem
from analysis.records.settings import Settings, read_settings
from analysis.report.page import Prose

_STAGES = {
    KnownAt.INTAKE: "Intake",
    KnownAt.ASSESSMENT: "Assessment, before work",
    KnownAt.CLOSE: "Closing, when the job has ended",
}
_TABLES = {"chip_sides": "side", "heat_steps": "heat step", "boot_tests": "boot test"}


def guide() -> Prose:
    """How the form is used, and with what care."""
    return Prose(
        [
            "Type the code of a job that is there to continue it; what the log holds of it can be read, not changed."
            " Leave blank what you do not know. Heat steps from a preset are marked until you change one of their"
            " values. Check shows every fault beside its field; write puts the job into the log, whole or not at all.",
            "Job codes are pseudonyms: never write a client's name, telephone or serial number. Set temperatures are"
            " what your own station shows in °C, never a recommendation. A step on a client's only copy may be"
            " irreversible: get consent before it, extract the fume of flux and leaded solder, disconnect batteries"
            " before heat. Local codes, licensed professionals and the makers' data sheets prevail.",
        ]
    )


def field_of(column: Column, text: str = "") -> Any:
    """An input for one column."""
    import ipywidgets

    place = {"layout": ipywidgets.Layout(width="11em"), "tooltip": column.help}
    if column.kind in (Kind.CHOICE, Kind.YES_NO):
        codes = column.codes or ("yes", "no")
        return ipywidgets.Dropdown(options=["", *codes], value=text if text in codes else "", **place)
    return ipywidgets.Text(value=text, placeholder=column.unit, continuous_update=False, **place)


def title_of(column: Column, settings: Settings) -> str:
    """Name, unit and explanation of a column, above its input."""
    unit = f", {unit}" if (unit := unit_of(column, settings)) else ""
    needed = " (needed)" if column.required is Required.ALWAYS else ""
    return f"<label title='{escape(column.help, quote=True)}'>{escape(column.title)}{unit}{needed}</label>"


class _Row:
    """Fields of one row of a table.

    Parameters
    ----------
    table : str
    columns : sequence of Column
    texts : dict of str to str
        What stands in the fields at first.
    settings : Settings
        The shop's, for the currency.
    """

    def __init__(self, table: str, columns: Sequence[Column], texts: Row, settings: Settings) -> None:
        import ipywidgets

        self.table, self.texts = table, dict(texts)
        self.fields = {column.name: field_of(column, texts.get(column.name, "")) for column in columns}
        self.said = {name: ipywidgets.HTML() for name in self.fields}
        self.mark = ipywidgets.HTML()
        for name, field in self.fields.items():
            field.observe(lambda event, name=name: self._changed(name, event["new"]), names="value")
        cells = [
            ipywidgets.VBox(
                [ipywidgets.HTML(title_of(column, settings)), self.fields[column.name], self.said[column.name]],
                layout=ipywidgets.Layout(max_width="26em", margin="0 1em 0 0"),
            )
            for column in columns
        ]
        wrap = ipywidgets.Layout(flex_flow="row wrap", width="100%")
        self.out = ipywidgets.Button(description="leave out", layout=ipywidgets.Layout(width="7em"))
        head = ipywidgets.HBox([self.mark, self.out] if table in _TABLES else [])
        self.box = ipywidgets.VBox([head, ipywidgets.Box(cells, layout=wrap)])
        self._show_mark()

    def _changed(self, name: str, text: str) -> None:
        self.texts = change(self.table, self.texts, name, text)
        self._show_mark()

    def _show_mark(self) -> None:
        kind = self.texts.get("entry_kind", "")
        note = " (preset, unchanged: says nothing about temperature)" if kind == "preset" else ""
        self.mark.value = f"<b>{_TABLES[self.table]}{note}</b>" if self.table in _TABLES else ""

    def tell(self, said: dict[str, str]) -> None:
        """Show what is wrong beside the fields."""
        for name, html in self.said.items():
            html.value = f"<div role='alert'>✗ {escape(said[name])}</div>" if name in said else ""


class EnterForm:
    """The form; shown by being the last thing in a cell.

    Parameters
    ----------
    folder : Path
        The log.
    today : date, optional
        Later dates are refused; by default the computer's date.

    Raises
    ------
    LogError, SettingsError
        If the log, its settings or its presets cannot be read.
    """

    def __init__(self, folder: Path, today: dt.date | None = None) -> None:
        import ipywidgets as w

        self._folder, self._today = Path(folder), today or dt.date.today()
        told = "" if read_settings(self._folder).invented else recover(self._folder)
        self._told, self._top = w.HTML(), w.HTML()
        self.job = w.Combobox(description="job", continuous_update=False, ensure_option=False)
        self.job.observe(lambda event: self._load(), names="value")
        self.presets = w.SelectMultiple(description="presets")
        self.buttons = {
            name: w.Button(description=name) for name in ("use presets", *map("add {}".format, _TABLES.values()))
        }
        self.buttons |= {name: w.Button(description=name) for name in ("check", "write")}
        self.buttons["use presets"].on_click(lambda _: self.use_presets(self.presets.value))
        for table, what in _TABLES.items():
            self.buttons[f"add {what}"].on_click(lambda _, table=table: self.add(table))
        self.buttons["check"].on_click(lambda _: self.check())
        self.buttons["write"].on_click(lambda _: self.write())
        self._job_box, self._rows_box = w.VBox(), w.VBox()
        *adding, check, write = self.buttons.values()
        parts = [self.job, self._job_box, self.presets, w.HBox(adding), self._rows_box]
        self.box = w.VBox([*parts, self._told, self._top, w.HBox([check, write])])  # the answer beside the buttons
        self._begin(told)

    def _repr_mimebundle_(self, **options: Any) -> Any:
        return self.box._repr_mimebundle_(**options)

    # -- what is shown ---------------------------------------------------------------------------------------------

    def _begin(self, told: str = "") -> None:
        """An empty form for the next job."""
        self.desk = Desk.of(self._folder, self._today)
        self._told.value = f"<p role='status'>{escape(told)}</p>" if told else ""
        demo = self._settings.invented
        self.buttons["write"].disabled = demo
        self._top.value = "<p>Invented data: the form can be tried, nothing is written.</p>" if demo else ""
        self.presets.options = [preset.name for preset in self.desk.presets.presets]
        self.job.options = [self.desk.next_job, *self.desk.open_jobs]
        if self.job.value == self.desk.next_job:
            self._load()
        self.job.value = self.desk.next_job

    @property
    def _settings(self) -> Settings:
        return self.desk.rules.settings

    def _load(self) -> None:
        """Fields of the job's row; what stands in the log already can be read, not changed."""
        import ipywidgets as w

        job = self.job.value.strip()
        new = not self.desk.has_job(job)
        known = {} if new else self.desk.known(job)
        first = {"received_date": self._today.isoformat(), **self.desk.presets.defaults} if new else known
        self._jobs: list[_Row] = []
        parts: list[Any] = []
        for known_at, title in _STAGES.items():
            row = _Row("jobs", [c for c in fields_of("jobs") if c.known_at is known_at], first, self._settings)
            for name, field in row.fields.items():
                field.disabled = name in known
            self._jobs.append(row)
            parts += [w.HTML(f"<h4>{title}</h4>"), row.box]
        self._donor = _Row("donors", DONOR_FACTS, {}, self._settings)
        parts[4:4] = [w.HTML("<h4>The donor, if it is not in donors.csv yet</h4>"), self._donor.box]
        self._job_box.children = parts
        self._show_rows([])

    def add(self, table: str, texts: Row | None = None) -> _Row:
        """Add fields for another row."""
        before = {"before_test_no": str(self._tests_n + 1)} if table != "boot_tests" else {}
        first = {"test_date": self._today.isoformat()} if table == "boot_tests" else before
        kind = {"entry_kind": "typed"} if table == "heat_steps" else {}
        row = _Row(table, fields_of(table), {**first, **kind, **(texts or {})}, self._settings)
        row.out.on_click(lambda _: self._show_rows([one for one in self.rows if one is not row]))
        self._show_rows([*self.rows, row])
        return row

    def _show_rows(self, rows: list[_Row]) -> None:
        self.rows = rows
        self._rows_box.children = [row.box for row in rows]

    @property
    def _tests_n(self) -> int:
        return self.desk.tests_n(self.job.value.strip()) + sum(row.table == "boot_tests" for row in self.rows)

    def use_presets(self, names: Sequence[str]) -> None:
        """Add the rows that presets stand for, marked as such."""
        for table, texts in preset_rows([self.desk.presets.named(name) for name in names]):
            self.add(table, texts)

    # -- what is made of it ----------------------------------------------------------------------------------------

    def _filled(self) -> Filled:
        cells = {
            name: field.value
            for row in self._jobs
            for name, field in row.fields.items()
            if field.value.strip() and not field.disabled
        }
        rows: dict[str, list[Row]] = {"donors": [self._donor.texts]}
        for row in self.rows:
            rows.setdefault(row.table, []).append(row.texts)
        return fill(self.desk, self.job.value.strip(), cells, rows)

    def _say(self, said: dict[Place, str], others: Sequence[Problem] = (), text: str = "") -> None:
        """Show texts beside their fields, and what has no field at the top."""
        at: dict[str, int] = {}
        shown: set[Place] = set()
        for row in (*self._jobs, self._donor, *self.rows):
            number = at.get(row.table, 0)
            at[row.table] = number + (row.table in _TABLES)
            places = {(row.table, number, name) for name in row.fields}
            shown |= places & {*said}
            row.tell({name: said[(table, n, name)] for table, n, name in places & {*said}})
        rest = [f"{name}: {told}" for (table, n, name), told in said.items() if (table, n, name) not in shown]
        lines = [text, *rest, *(problem.line_text() for problem in others)]
        self._top.value = "".join(f"<p role='alert'>{escape(line)}</p>" for line in lines if line)

    def check(self) -> Filled | None:
        """Show every fault beside its field; the filled form where there is none."""
        try:
            filled = self._filled()
            if filled.faults:
                self._say(dict(filled.faults), text="Not yet: see the fields marked ✗.")
                return None
            if not filled.entry.touches:
                self._say({}, text="Nothing was entered.")
                return None
            said, others = tell(self.desk, filled)
        except ReworkError as error:
            self._say({}, text=str(error))
            return None
        faulty = any(text.startswith("fault") for text in said.values()) or bool(faults_of(others))
        self._say(said, others, "Not yet: see what is marked ✗." if faulty else "This can be written.")
        return None if faulty else filled

    def write(self) -> Stored | None:
        """Write the entry, whole or not at all, and begin the next."""
        filled = None if self.buttons["write"].disabled else self.check()
        if filled is None:
            return None
        try:
            stored = store(self._folder, filled.entry, self._today)
        except RefusedEntryError as error:
            self.desk = Desk.of(self._folder, self._today)
            self._say(*by_place(self.desk, filled, error.problems), "Someone wrote meanwhile what this does not fit.")
        except HalfWrittenError as error:
            self._say({}, text=str(error))
        except LogError as error:
            self._say({}, text=f"{error} {kept_answers(filled.entry, self._folder)}")
        else:
            warned = " ".join(problem.line_text() for problem in stored.warnings)
            self._begin(f"{stored.told} Written: job {stored.job} in {', '.join(stored.files)}. {warned}".strip())
            return stored
        return None
