"""What is still asked: each "?" of a mapping with its examples and where to answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.records.importing.grid import HeadedSheet, squeezed
from analysis.records.importing.mapping import OPEN, ColumnMap, SheetMap
from analysis.records.importing.propose import Proposal
from analysis.records.importing.reading import value_key
from analysis.records.problems import plural, quoted, visible

_EXAMPLES = 4
_WORDS = 12


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
    """

    sheet: str
    heading: str
    key: str
    about: str
    examples: str

    @property
    def text(self) -> str:
        """One line for the terminal."""
        where = f"[{visible(self.sheet)}]" + (f" {quoted(self.heading)}" if self.heading else "")
        parts = [f"QUESTION {where} {visible(self.key)} = ?"]
        parts += [self.about] if self.about else []
        parts += [f"examples: {self.examples}"] if self.examples else []
        return " | ".join(parts)


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
    if column.to == OPEN:
        return ["to"]
    if not column.taken:
        return []
    return [key for key in ("chip", "side", "step", "test", "unit", "dates", "decimal") if getattr(column, key) == OPEN]


def _words(proposal: Proposal, column: ColumnMap, asked: set[tuple[str, str]]) -> Question | None:
    """The words of a column that are asked; one that is asked under an earlier heading is not asked again."""
    said, new = [], []
    for text, code in column.values.items():
        if code != OPEN or (column.to, value_key(text)) in asked:
            continue
        new.append((column.to, value_key(text)))
        remark = proposal.remarks.get((column.heading, f"values.{text}"))
        maybe = f", maybe {remark.text}" if remark and remark.text else ""
        said.append(f"{quoted(text, 30)} ({_cells_with(proposal.headed, column.heading, text)}{maybe})")
    asked.update(new)
    if not said:
        return None
    shown = ", ".join(said[:_WORDS]) + (f" and {len(said) - _WORDS} more" if len(said) > _WORDS else "")
    about = f"what do these words mean: {shown}? a code of {column.column.name}, or blank"
    return Question(proposal.sheet.name, column.heading, "values", about, "")


def _sheet_keys(sheet: SheetMap) -> list[str]:
    keys = [key for key in ("row", "processor_side", "own_donor") if getattr(sheet, key) == OPEN]
    return keys + [f"fixed.{name}" for name, said in sheet.fixed.items() if said == OPEN]


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
    return out
