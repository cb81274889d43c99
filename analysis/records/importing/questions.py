"""What is still asked: each "?" of a mapping with its examples and where to answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from analysis.records.importing.code_help import answers_for
from analysis.records.importing.grid import HeadedSheet, squeezed
from analysis.records.importing.mapping import OPEN, ColumnMap, SheetMap
from analysis.records.importing.proposal import Proposal
from analysis.records.importing.reading import value_key
from analysis.records.problems import plural, quoted, visible

_EXAMPLES = 4
_WORDS = 12
_WHICH = ("which code?", "which number?")


@dataclass(frozen=True)
class Question:
    """One "?" of the mapping.

    Parameters
    ----------
    sheet, heading, key : str
        Where the answer goes; heading is blank for a question on the sheet.
    about : str
        What is proposed or allowed.
    examples : str
        Values it is about.
    answers : str
        What may be answered, with a word on each code.
    """

    sheet: str
    heading: str
    key: str
    about: str
    examples: str
    answers: str = ""

    @property
    def text(self) -> str:
        """For the terminal: a line, and a second one with the possible answers where they need explaining."""
        where = f"[{visible(self.sheet)}]" + (f" {quoted(self.heading)}" if self.heading else "")
        parts = [f"QUESTION {where} {visible(self.key)} = ?"]
        parts += [self.about] if self.about else []
        parts += [f"examples: {self.examples}"] if self.examples else []
        return " | ".join(parts) + (f"\n    {self.answers}" if self.answers else "")


def _examples(headed: HeadedSheet, heading: str) -> str:
    at = next(at for at, name in headed.headings.items() if name == heading)
    texts = Counter(squeezed(row[at].text) for row in headed.data.values() if at in row)
    shown = ", ".join(quoted(text, 25) for text, _ in texts.most_common(_EXAMPLES))
    return shown + (f" and {len(texts) - _EXAMPLES} more" if len(texts) > _EXAMPLES else "")


def _cells_with(headed: HeadedSheet, heading: str, text: str) -> str:
    at = next((at for at, name in headed.headings.items() if name == heading), None)
    if at is None:
        return "no cell now"
    cells = sum(value_key(row[at].text) == value_key(text) for row in headed.data.values() if at in row)
    return plural(cells, "cell")


def _open_keys(column: ColumnMap) -> list[str]:
    if not column.taken and column.to != OPEN:
        return []
    every = ("to", "chip", "side", "step", "test", "unit", "dates", "decimal")
    return [key for key in every if getattr(column, key) == OPEN]


def _words(proposal: Proposal, column: ColumnMap, asked: set[tuple[str, str]]) -> Question | None:
    """The words of a column that are asked; one that is asked under an earlier heading is not asked again."""
    said, new = [], []
    for text, code in column.values.items():
        if code != OPEN or (column.to, value_key(text)) in asked:
            continue
        new.append((column.to, value_key(text)))
        remark = proposal.remarks.get((column.heading, f"values.{text}"))
        maybe = f", {remark.text}" if remark and remark.text not in _WHICH else ""
        said.append(f"{quoted(text, 30)} ({_cells_with(proposal.headed, column.heading, text)}{maybe})")
    asked.update(new)
    if not said:
        return None
    shown = ", ".join(said[:_WORDS]) + (f" and {len(said) - _WORDS} more" if len(said) > _WORDS else "")
    about = f"what do these mean as {column.column.name}: {shown}?"
    return Question(proposal.sheet.name, column.heading, "values", about, "", answers_for(column.column))


def _sheet_keys(sheet: SheetMap) -> list[str]:
    every = ("row", "processor_side", "own_donor", "work_before_test_1")
    keys = [key for key in every if getattr(sheet, key) == OPEN]
    return keys + [f"fixed.{name}" for name, said in sheet.fixed.items() if said == OPEN]


def _said_before(questions: Sequence[Question]) -> list[Question]:
    """Possible answers that were listed already are not listed again."""
    out, seen = [], set[str]()
    for question in questions:
        out.append(replace(question, answers="") if question.answers in seen else question)
        seen.add(question.answers)
    return out


def questions_of(proposals: Sequence[Proposal]) -> list[Question]:
    """Every open question, in the order of the mapping."""
    out = []
    for proposal in proposals:
        sheet, headed = proposal.sheet, proposal.headed
        present = set(headed.headings.values())
        for key in _sheet_keys(sheet):
            remark = proposal.remarks.get(("", key))
            about = remark.text if remark else "which table's rows are they? jobs, donors, boot_tests … or ignored"
            examples = ", ".join(quoted(h, 25) for h in list(headed.headings.values())[:5]) if key == "row" else ""
            out.append(Question(sheet.name, "", key, about, examples))
        asked: set[tuple[str, str]] = set()
        for column in sheet.columns if sheet.row not in (OPEN, "ignored") else ():
            for key in _open_keys(column):
                remark = proposal.remarks.get((column.heading, key))
                examples = _examples(headed, column.heading) if column.heading in present else ""
                out.append(Question(sheet.name, column.heading, key, remark.text if remark else "", examples))
            if column.taken and (words := _words(proposal, column, asked)):
                out.append(words)
    return _said_before(out)
