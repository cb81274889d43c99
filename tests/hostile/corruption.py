"""The corruption table: how often each kind of corruption of the demo log is reported at its cell, harmless, or missed.

    python -m tests.hostile.corruption [--cases 1000]

Reported: a fault or warning stands at every place that is wrong (the cell; the line where a line cannot be split into
cells or cells cannot be told apart; the file where it cannot be read) and no other cell reads otherwise than before
without a word. Unchanged: the hash of the log is the same. Missed: anything else; the command then fails.

What no reader could know is not counted; ``cell_kinds`` and ``file_kinds`` say what that is.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pandas as pd

from analysis.records.dictionary import BY_NAME
from analysis.records.log import Log, read_log
from analysis.records.problems import Severity
from tests.hostile.cell_kinds import CELL_KINDS
from tests.hostile.demo_log import DEMO, TODAY, Case, Place
from tests.hostile.file_kinds import FILE_KINDS, HARMLESS_KINDS

Kind = Callable[[random.Random], Case]
KINDS: dict[str, Kind] = {**CELL_KINDS, **FILE_KINDS, **HARMLESS_KINDS}
VERDICTS = ("reported", "unchanged", "missed")


@dataclass(frozen=True)
class Verdict:
    """What became of one corrupted log: one of VERDICTS, and why it was missed."""

    word: str
    why: str = ""


@cache
def clean() -> Log:
    """The demo log as it is."""
    log = read_log(DEMO, TODAY)
    assert not log.problems
    return log


def silent_changes(before: Mapping[str, pd.DataFrame], after: Log, told: set[Place]) -> set[Place]:
    """Cells that read otherwise than before and are not told of, in tables that kept their number of rows."""
    changed: set[Place] = set()
    for name, frame in after.tables.items():
        if len(frame) != len(before[name]):
            continue
        columns = list(BY_NAME[name].names)
        now, then = frame[columns].astype(object), before[name][columns].astype(object)
        differs = ~((now == then).fillna(False).astype(bool) | (now.isna() & then.isna()))
        for row, at in zip(*differs.to_numpy().nonzero(), strict=True):
            changed.add((f"{name}.csv", int(frame["_line"].iloc[row]), columns[at]))
    return {place for place in changed if not is_told(place, told)}


def is_told(place: Place, told: set[Place]) -> bool:
    """Whether something is reported at a place: at the cell, or on its line or file as a whole."""
    file, line, column = place
    if not line:
        return any(where == file for where, _, _ in told)
    if not column:
        return any((where, at) in ((file, line), (file, 0)) for where, at, _ in told)
    return bool({place, (file, line, ""), (file, 0, "")} & told)


def judge(case: Case, harmless: bool) -> Verdict:
    """Read the demo with one file replaced and judge what was said of it."""
    with tempfile.TemporaryDirectory() as one:
        folder = Path(shutil.copytree(DEMO, Path(one) / "log"))
        (folder / f"{case.table}.csv").write_bytes(case.data)
        log = read_log(folder, TODAY)
    told = {(p.file, p.line, p.column) for p in log.problems if p.severity is not Severity.NOTE}
    if log.hash == clean().hash and not log.faults:
        return Verdict("unchanged")
    if harmless:
        return Verdict("missed", f"meant to be harmless: {[p.line_text() for p in log.problems][:3]}")
    untold = [place for place in case.places if not is_told(place, told)]
    if untold:
        return Verdict("missed", f"nothing is said at {untold[:3]}; said: {[p.line_text() for p in log.problems][:3]}")
    silent = silent_changes(clean().tables, log, told) if case.rows_kept else set()
    return Verdict("missed", f"read otherwise without a word: {sorted(silent)[:3]}") if silent else Verdict("reported")


def tried(name: str, cases: int, seed: int = 0) -> tuple[Counter[str], list[str]]:
    """Try one kind of corruption; how often each verdict fell, and why cases were missed."""
    verdicts: Counter[str] = Counter()
    why = []
    for at in range(cases):
        # A source of its own for each case, so that a missed one can be made again by itself.
        verdict = judge(KINDS[name](random.Random(f"{seed} {name} {at}")), name in HARMLESS_KINDS)
        verdicts[verdict.word] += 1
        if verdict.why:
            why.append(f"{name}, case {at}: {verdict.why}")
    return verdicts, why


def main() -> int:
    """Print the table; 1 when a corruption was missed."""
    parser = argparse.ArgumentParser(prog="python -m tests.hostile.corruption", description=__doc__)
    parser.add_argument("--cases", type=int, default=1000, help="cases in all, shared evenly among the kinds")
    parser.add_argument("--seed", type=int, default=0)
    args = parser.parse_args()
    each = -(-args.cases // len(KINDS))
    print(f"{'kind of corruption':46}{'tried':>7}{'reported':>10}{'unchanged':>11}{'missed':>8}")
    total: Counter[str] = Counter()
    missed = []
    for name in KINDS:
        verdicts, why = tried(name, each, args.seed)
        total += verdicts
        missed += why
        print(
            f"{name:46}{each:>7}{verdicts['reported']:>10}{verdicts['unchanged']:>11}{verdicts['missed']:>8}",
            flush=True,
        )
    print(f"{'all':46}{total.total():>7}{total['reported']:>10}{total['unchanged']:>11}{total['missed']:>8}")
    for line in missed:
        print(line, file=sys.stderr)
    return int(bool(missed))


if __name__ == "__main__":
    sys.exit(main())
