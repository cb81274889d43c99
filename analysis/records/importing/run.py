"""The import as a whole: sheets in, mapping and log out, and what there is to say about it."""

from __future__ import annotations

import contextlib
import datetime as dt
import shutil
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from analysis.errors import LogError, SettingsError
from analysis.records.blank import GUIDE, guide_text
from analysis.records.dictionary import TABLES
from analysis.records.entering.replacing import JOURNAL
from analysis.records.entering.storing import LOCK, locked, recover
from analysis.records.importing import accounting
from analysis.records.importing.details import money_unit
from analysis.records.importing.existing import read_existing
from analysis.records.importing.grid import HeadedSheet, Sheet
from analysis.records.importing.heading_row import find_headings, kind_of_rows
from analysis.records.importing.mapping import IGNORED, OPEN, SheetMap
from analysis.records.importing.mapping_file import FILE, completed_mapping, parse_mapping
from analysis.records.importing.merge import STATE_FILE, Apply, Merged, merge, read_state, state_text
from analysis.records.importing.place import Placement, place
from analysis.records.importing.proposal import Proposal, Remark
from analysis.records.importing.propose import propose
from analysis.records.importing.questions import Question, questions_of
from analysis.records.importing.rows import read_sheet
from analysis.records.importing.sheet_questions import ask_of_sheets
from analysis.records.importing.sources import read_sources
from analysis.records.importing.writing import write_together
from analysis.records.problems import visible
from analysis.records.settings import FILE as SETTINGS_FILE
from analysis.records.settings import settings_file


@dataclass(frozen=True)
class Imported:
    """What an import did.

    Parameters
    ----------
    folder, mapping : Path
        The log and the mapping file.
    questions : tuple of Question
        What is still asked.
    placement : Placement
        Records and cells kept aside.
    merged : Merged
        What was added, what changed, what vanished.
    written : tuple of Path
        Files that are new or different.
    told : str
        What became of an entry or import that had been interrupted before; blank when none had.
    others : Counter of str
        Lines that the list of cells kept aside still has of other files, by file.
    """

    folder: Path
    mapping: Path
    questions: tuple[Question, ...]
    placement: Placement
    merged: Merged
    written: tuple[Path, ...]
    told: str = ""
    others: Counter[str] = field(default_factory=Counter)

    @property
    def kept_aside(self) -> Counter[str]:
        """Reasons and how many cells each is about."""
        return Counter(cell.why for cell in self.placement.aside)


@dataclass(frozen=True)
class _How:
    """How an import goes: which changes are made, the names of its files, and the day."""

    apply: Apply
    sources: frozenset[str]
    today: dt.date


def _fits(sheet: Sheet, known: SheetMap) -> bool:
    """Whether a sheet has every heading that a mapping takes over."""
    wanted = {column.heading for column in known.columns if column.taken}
    return bool(wanted) and wanted <= set(find_headings(sheet, wanted).headings.values())


def _paired(sheets: Sequence[Sheet], given: Sequence[SheetMap]) -> list[tuple[Sheet, SheetMap | None]]:
    """Each sheet with its mapping: by name, else by its headings, so that next month's file may have another name."""
    by_name = {known.name.casefold(): known for known in given}
    pairs: list[tuple[Sheet, SheetMap | None]] = [(sheet, by_name.get(sheet.name.casefold())) for sheet in sheets]
    free = [known for known in given if all(known is not taken for _, taken in pairs)]
    out = []
    for sheet, known in pairs:
        if known is None and (fitting := [other for other in free if _fits(sheet, other)]):
            known = fitting[0]
            free = [other for other in free if other is not known]
        out.append((sheet, known))
    return _last_ones_paired(out, free)


def _last_ones_paired(
    pairs: list[tuple[Sheet, SheetMap | None]], free: list[SheetMap]
) -> list[tuple[Sheet, SheetMap | None]]:
    """A sheet left over goes with the mapping left over if it has most of its headings: one of them changed."""
    lone = [sheet for sheet, known in pairs if known is None]
    if len(lone) != 1 or len(free) != 1:
        return pairs
    wanted = {column.heading for column in free[0].columns}
    shared = wanted & set(find_headings(lone[0], wanted).headings.values())
    alike = len(shared) > 0.5 * len(wanted)
    return [(sheet, free[0] if known is None and alike else known) for sheet, known in pairs]


def _missing(pairs: Sequence[tuple[Sheet, SheetMap | None]], given: Sequence[SheetMap], path: Path) -> None:
    """Refuse a mapping that names a sheet that no file has."""
    used = [known for _, known in pairs if known is not None]
    lacking = [k.name for k in given if k.row not in (IGNORED, OPEN) and all(k is not other for other in used)]
    if lacking:
        names = ", ".join(f"'{name}'" for name in lacking)
        there = ", ".join(f"'{sheet.name}'" for sheet, known in pairs if known is None) or "none other"
        todo = f"Name its file too, or correct the key name; sheets without a mapping: {there}. Nothing was changed."
        raise SettingsError(f"[[sheet]] name: no file has the sheet {names}.", todo=todo, where=str(path))


def _unnamed(sheets: Sequence[Sheet]) -> list[Sheet]:
    """Sheets of several files that have one name get the file's name too."""
    counts = Counter(sheet.name.casefold() for sheet in sheets)
    return [replace(s, name=f"{Path(s.file).stem} {s.name}") if counts[s.name.casefold()] > 1 else s for s in sheets]


def _proposal(sheet: Sheet, known: SheetMap | None, today: dt.date, path: Path) -> Proposal:
    if known is not None:
        wanted = [column.heading for column in known.columns]
        headed = find_headings(sheet, wanted)
        _refuse_lost_headings(headed, known, path)
        return propose(headed, known, today)
    headed = find_headings(sheet)
    row, why = kind_of_rows(headed)
    proposal = propose(headed, SheetMap(sheet.name, row), today)
    remark = {("", "row"): Remark("sure", why)} if why and row != OPEN else {}
    return replace(proposal, remarks={**proposal.remarks, **remark})


def _refuse_lost_headings(headed: HeadedSheet, known: SheetMap, path: Path) -> None:
    there = set(headed.headings.values())
    lost = [column.heading for column in known.columns if column.taken and column.heading not in there]
    if lost:
        named = ", ".join(f"'{heading}'" for heading in lost[:5])
        todo = 'Correct the key heading, or set to = "ignored" if the sheet no longer has it. Nothing was changed.'
        found = f"sheet '{known.name}', heading: row {headed.heading_row} of {headed.sheet.file} has no {named}."
        raise SettingsError(
            found, rule="every heading that is taken over stands in the sheet", todo=todo, where=str(path)
        )


def _currency(proposals: Sequence[Proposal]) -> dict[str, str]:
    """The one currency that the sheets name, for new settings."""
    found = set()
    for proposal in proposals:
        cells = proposal.headed.by_column()
        for at, heading in proposal.headed.headings.items():
            column = proposal.sheet.by_heading().get(heading)
            if column and column.taken and column.column.name in ("fee_amount", "donor_cost"):
                found.add(money_unit(column, cells[at]))
    found.discard("")
    return {"currency": found.pop()} if len(found) == 1 else {}


def _refuse_the_log_itself(sources: Sequence[Path], folder: Path) -> None:
    """A sheet that lies where the log's own file would be is not taken for both."""
    own = {(folder / table.file).resolve() for table in TABLES}
    for source in sources:
        if Path(source).resolve() in own:
            rule = f"a folder for the log in which no sheet of yours is called {Path(source).name}"
            todo = "Name another folder with --into, such as my_log; it is made. Nothing was changed."
            raise LogError("is where the log's own file stands.", rule=rule, todo=todo, where=str(source))


def _read_text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig") if path.is_file() else ""
    except UnicodeDecodeError:
        raise LogError("is not UTF-8 text.", todo="Save it as UTF-8.", where=str(path)) from None


@contextlib.contextmanager
def _opened(folder: Path) -> Iterator[None]:
    """Be the only writer of the folder, which is made if need be and goes again if nothing was put into it."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise LogError(
            f"cannot be made ({error.strerror}).", todo="Choose another folder.", where=str(folder)
        ) from None
    try:
        with locked(folder):
            yield
    finally:
        if {path.name for path in folder.iterdir()} <= {LOCK}:
            shutil.rmtree(folder, ignore_errors=True)


def _refuse_unchanged(codes: frozenset[str], merged: Merged, folder: Path) -> None:
    """Refuse codes of which there is nothing to change: one is mistyped."""
    changed = {change.job for change in merged.changes}
    if wrong := sorted(codes - changed):
        there = ", ".join(visible(code) for code in sorted(changed)[:10]) + (" …" if len(changed) > 10 else "")
        waits = " What waits for an answer is not changed before it." if +merged.waiting else ""
        todo = f"Changes there are of: {there or 'none'}.{waits} Nothing was changed."
        named = ", ".join(visible(code) for code in wrong[:5])
        raise LogError(f"no change of {named}.", rule="--apply-changes CODE,CODE", todo=todo, where=str(folder))


def _store(
    folder: Path, path: Path, mapping: str, proposals: Sequence[Proposal], placement: Placement, how: _How
) -> tuple[Merged, tuple[Path, ...], Counter[str]]:
    """Merge what was placed into the log and write all files; told are also the lines kept of other imports."""
    existing = {table.name: read_existing(folder, table, how.today) for table in TABLES}
    state, aside = folder / STATE_FILE, folder / accounting.FILE
    last = read_state(_read_text(state), str(state)) if state.is_file() else {}
    others = accounting.lines_of_others(aside, how.sources)
    merged = merge(existing, last, placement, how.apply)
    if isinstance(how.apply, frozenset):
        _refuse_unchanged(how.apply, merged, folder)
    files = {path: completed_mapping(mapping, proposals)}
    files |= {
        folder / table.file: existing[table.name].text()
        for table in TABLES
        if table.name in merged.touched or not (folder / table.file).is_file()
    }
    files |= {state: state_text(merged.state), aside: accounting.not_placed_csv(placement.aside, others)}
    if not (folder / SETTINGS_FILE).is_file():
        files[folder / SETTINGS_FILE] = settings_file(**_currency(proposals))
    if not (folder / GUIDE).is_file():
        files[folder / GUIDE] = guide_text()
    return merged, tuple(write_together(folder, files)), Counter(line[0] for line in others)


def import_files(
    sources: Sequence[Path],
    folder: Path,
    mapping: Path | None = None,
    apply_changes: Apply = False,
    today: dt.date | None = None,
) -> Imported:
    """Bring spreadsheets into a log.

    Parameters
    ----------
    sources : sequence of Path
        CSV files and workbooks; only read.
    folder : Path
        The log; made when it is not there.
    mapping : Path, optional
        The mapping file; ``import.toml`` in the folder by default. Made when it is not there, completed when it is.
    apply_changes : bool or frozenset of str
        Whether cells that differ between log and sheet are set to what the sheet says, or the jobs, donors and
        technicians of which they are.
    today : date, optional
        Later dates are refused; by default the computer's date.

    Raises
    ------
    LogError, SettingsError
        If a source, the mapping or the log cannot be used; nothing is changed then.
    """
    folder, today = Path(folder), today or dt.date.today()
    told = recover(folder) if (folder / JOURNAL).is_file() else ""
    _refuse_the_log_itself(sources, folder)
    path = Path(mapping) if mapping else folder / FILE
    before = _read_text(path)
    given = parse_mapping(before, path) if before else []
    pairs = _paired(_unnamed(read_sources(sources)), given)
    _missing(pairs, given, path)
    proposals = ask_of_sheets([_proposal(sheet, known, today, path) for sheet, known in pairs])
    taken = [p for p in proposals if p.sheet.row not in (OPEN, IGNORED)]
    placement = place([read_sheet(p.headed, p.sheet, today) for p in taken], [p for p in proposals if p not in taken])
    with _opened(folder):
        how = _How(apply_changes, frozenset(Path(source).name for source in sources), today)
        merged, written, others = _store(folder, path, before, proposals, placement, how)
    return Imported(folder, path, tuple(questions_of(proposals)), placement, merged, written, told, others)
