"""What an import says on the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.records.check import CheckReport
from analysis.records.importing import accounting
from analysis.records.importing.accounting import NotPlaced
from analysis.records.importing.merge import Change
from analysis.records.importing.reading import RULE
from analysis.records.importing.run import Imported
from analysis.records.problems import Severity, plural, quoted, summed_up, visible

_MOST = 40  # lines of one kind; all stand in the files


def _some(lines: Sequence[str], rest: str) -> Iterator[str]:
    yield from lines[:_MOST]
    if len(lines) > _MOST:
        yield f"… and {len(lines) - _MOST} more {rest}"


def import_lines(done: Imported, report: CheckReport) -> Iterator[str]:
    """Line by line: questions, changes, what was kept aside, the account, the check, and what to do next."""
    if done.told:
        yield done.told
    yield from _some([question.text for question in done.questions], f"in {done.mapping}")
    if done.questions:
        n = plural(len(done.questions), "question")
        yield f'{n} in {done.mapping}: put the answers in place of the "?" and run the same command again.'
    merged = done.merged
    yield from _some([change.text for change in merged.changes], "changes")
    if merged.changes:
        yield _changes_made(merged.changes)
    if +merged.waiting:
        said = ", ".join(f"{name} {plural(n, 'cell')}" for name, n in merged.waiting.most_common() if n)
        yield f"Left as it is in the log until the sheet's cells for it can be read, also by --apply-changes: {said}."
    if merged.vanished:
        names = ", ".join(visible(job) for job in merged.vanished[:10]) + (" …" if len(merged.vanished) > 10 else "")
        yield f"Of earlier imports and not in these files, kept in the log: {names}."
    added = ", ".join(f"{name}.csv {plural(n, 'row')}" for name, n in merged.rows_added.items())
    yield f"Added: {added or 'no rows'}; {plural(merged.cells_added, 'blank cell')} of earlier rows filled."
    reasons = done.kept_aside.most_common()
    if reasons:
        yield f"Kept aside in {done.folder / accounting.FILE}:"
        lines = [f"  {plural(n, 'cell')}: {_found(done.placement.aside, why)}{visible(why, 250)}" for why, n in reasons]
        yield from _some(lines, "reasons")
    if done.others:
        files = ", ".join(f"{visible(file)} {plural(n, 'line')}" for file, n in done.others.items())
        yield f"It still has what earlier imports kept aside: {files}. Delete what you no longer need."
    yield done.placement.accounting.text
    faults = [problem for problem in report.problems if problem.severity is Severity.FAULT]
    yield f"Check of {done.folder}: {report.text}"
    yield from _some([f"  {line}" for line in summed_up(faults, 1)], "kinds of fault")
    yield f"Next: {_next(done, bool(faults))}"


def _found(aside: Sequence[NotPlaced], why: str) -> str:
    """What a cell holds that breaks a rule of its column, and where; blank for other reasons."""
    if not why.startswith(RULE):
        return ""
    first, *others = (cell for cell in aside if cell.why == why)
    where = f"'{visible(first.column)}', row {first.row}" + (", and elsewhere" if others else "")
    return f"found {quoted(accounting.as_copied(first), 40)} ({where}) | "


def _changes_made(changes: Sequence[Change]) -> str:
    made = sum(change.made for change in changes)
    left = len(changes) - made
    codes = list(dict.fromkeys(visible(change.job) for change in changes if not change.made))
    parts = [f"{plural(made, 'change')} made"] if made else []
    if left:
        some = f" {','.join(codes[:2])} (the codes above, parted by commas) for those of some jobs only"
        parts.append(f"{plural(left, 'change')} NOT made: add --apply-changes for all, or --apply-changes{some}")
    return "; ".join(parts) + "."


def _next(done: Imported, faults: bool) -> str:
    if not done.placement.records["jobs"]:
        return f"answer the questions in {done.mapping}; no job could be placed yet."
    if done.questions:
        gone = "; faults that come from what they leave out go with them" if faults else ""
        return f"answer the questions in {done.mapping} and run the same command again{gone}."
    review = f"rework review {done.folder}"
    if faults:
        return f"rework check {done.folder} lists the faults; {review} sets faulty jobs aside and counts them."
    return review
