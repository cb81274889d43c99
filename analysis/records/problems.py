"""What is wrong with a log: one message for each faulty cell."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum

# How a cell begins that a spreadsheet may run: signs, also as East Asian keyboards give them, behind blanks or not.
_FORMULA = re.compile(r"\s*[=+\-@＝＋－＠]|[\t\r\n]")
FIRST_PLACES = 3  # of like warnings


class Severity(StrEnum):
    """How much a finding matters."""

    FAULT = "fault"  # the job cannot be used as it stands
    WARNING = "warning"  # usable, but look at it
    NOTE = "note"  # read differently from how it was written, said once a column


@dataclass(frozen=True, order=True)
class Problem:
    """One finding.

    Parameters
    ----------
    file : str
        File name.
    line : int
        Line of the file, counted from 1; 0 for the file as a whole.
    job : str
        Job the row belongs to; empty where there is none.
    column : str
        Heading; empty for the row or file as a whole.
    found : str
        What stands there.
    rule : str
        What should.
    todo : str
        What to do.
    severity : Severity
        Fault, warning or note.
    code : str
        Short fixed name of the rule.
    """

    file: str
    line: int
    job: str
    column: str
    found: str
    rule: str
    todo: str
    severity: Severity
    code: str

    def line_text(self) -> str:
        """One line for the terminal."""
        name = visible(self.file)
        where = f"{name}:{self.line}" if self.line else name
        parts = [f"{self.severity.upper()} {where}"]
        if self.job:
            parts.append(f"job {visible(self.job)}")
        if self.column:
            parts.append(visible(self.column))
        parts += [f"found {self.found}", f"rule: {self.rule}", f"do: {self.todo}"]
        return " | ".join(parts)


def visible(value: object, most: int = 60) -> str:
    """Text from a log cut to size, with unprintable characters written out."""
    text = str(value)
    shown = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text[: most + 1])
    return f"{shown[:most]}…" if len(shown) > most else shown


def quoted(value: object, most: int = 60) -> str:
    """A found value between quotes; see :func:`visible`."""
    return f"'{visible(value, most)}'"


def never_run(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if _FORMULA.match(cell) else cell


def as_csv(problems: Sequence[Problem]) -> str:
    """All findings as CSV with a header line. A cell that a spreadsheet would run as a formula is made text."""
    out = io.StringIO()
    fields = list(Problem.__dataclass_fields__)
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(fields)
    for problem in problems:
        row = [str(getattr(problem, name)) for name in fields]
        writer.writerow([never_run(cell) for cell in row])
    return out.getvalue()


def as_json(problems: Sequence[Problem]) -> str:
    """All findings as a JSON list of objects, in plain ASCII: no terminal or pipe can spoil it."""
    return json.dumps([asdict(problem) for problem in problems], indent=1)


def count(problems: Sequence[Problem], severity: Severity) -> int:
    """How many findings are of one severity."""
    return sum(problem.severity is severity for problem in problems)


def plural(n: int, one: str, many: str = "") -> str:
    """Write a number with its noun: "1 job", "2 jobs"."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def by_kind(problems: Sequence[Problem]) -> list[list[Problem]]:
    """Findings with the same severity, file, column, rule and advice together: faults first, then the most frequent."""
    kinds: dict[tuple[Severity, str, str, str, str], list[Problem]] = {}
    for p in problems:
        kinds.setdefault((p.severity, p.file, p.column, p.rule, p.todo), []).append(p)
    order = list(Severity)
    return sorted(kinds.values(), key=lambda found: (order.index(found[0].severity), -len(found)))


def place(problem: Problem) -> str:
    """Line and job of a finding: "7 (job J-3)"."""
    line = str(problem.line) if problem.line else "the whole file"
    return f"{line} (job {visible(problem.job)})" if problem.job else line


def found_texts(problems: Sequence[Problem], most: int) -> str:
    """What stands there, each wording once."""
    texts = list(dict.fromkeys(problem.found for problem in problems))
    return ", ".join(texts[:most]) + (" …" if len(texts) > most else "")


def kind_text(found: Sequence[Problem]) -> str:
    """One line for findings of one kind: how often, where first, what, the rule, what to do."""
    first = found[0]
    places = ", ".join(place(problem) for problem in found[:FIRST_PLACES])
    parts = [f"{plural(len(found), first.severity).upper()} {visible(first.file)}", f"lines {places} …"]
    parts += [visible(first.column)] if first.column else []
    parts += [f"found {found_texts(found, FIRST_PLACES)}", f"rule: {first.rule}", f"do: {first.todo}"]
    return " | ".join(parts)


def summed_up(problems: Sequence[Problem], at_least: int) -> list[str]:
    """A line for every kind of finding that came up at least so often: how often, where, the rule, some of the jobs.

    Faults come first, then the most frequent; findings are of one kind where file, column and rule are the same.
    """
    kinds: dict[tuple[Severity, str, str, str], list[Problem]] = {}
    for problem in problems:
        kinds.setdefault((problem.severity, problem.file, problem.column, problem.rule), []).append(problem)
    order = list(Severity)
    many = sorted((k for k in kinds if len(kinds[k]) >= at_least), key=lambda k: (order.index(k[0]), -len(kinds[k])))
    out = []
    for severity, file, column, rule in many:
        found = kinds[severity, file, column, rule]
        jobs = list(dict.fromkeys(visible(problem.job) for problem in found if problem.job))
        named = f"; jobs {', '.join(jobs[:3])}{' …' if len(jobs) > 3 else ''}" if jobs else ""
        where = f"{visible(file)}{f' {visible(column)}' if column else ''}"
        out.append(f"{plural(len(found), severity)} in {where}: {rule}{named}")
    return out


def summary(problems: Sequence[Problem]) -> str:
    """One sentence that counts the findings."""
    faults, warnings = count(problems, Severity.FAULT), count(problems, Severity.WARNING)
    notes = count(problems, Severity.NOTE)
    jobs = len({p.job for p in problems if p.severity is Severity.FAULT and p.job})
    where = f" in {plural(jobs, 'job')}" if jobs else ""
    verdict = "The log is clean" if not faults else "The log has faults"
    return f"{verdict}: {plural(faults, 'fault')}{where}, {plural(warnings, 'warning')}, {plural(notes, 'note')}."
