"""``python -m tests.health.coverage``: statements and branches that tests run, by folder, and the files least covered.

Each test file is run by itself in a clone of the committed state (``tests.health.measured``). Not measured: tests
marked slow, what a process did before coverage started in it or where it was killed at once, and the cells of notebooks
themselves (the functions they call are measured).
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from tests.health.clone import KEPT, commit_of, committed, tree_of
from tests.health.measured import FileRun, files_of_tests, measure
from tests.health.outcomes import keep


@dataclass(frozen=True)
class Covered:
    """Statements and branches of a file or folder, and how many of each were run."""

    name: str
    statements: int
    statements_run: int
    branches: int
    branches_run: int

    @property
    def share(self) -> float:
        """Share of statements and branches together that were run; NaN where there are none."""
        both = self.statements + self.branches
        return (self.statements_run + self.branches_run) / both if both else float("nan")

    def line(self) -> str:
        """A row of the table."""
        statements, branches = (
            _percent(self.statements_run, self.statements),
            _percent(self.branches_run, self.branches),
        )
        both = _percent(self.statements_run + self.branches_run, self.statements + self.branches)
        counts = f"{self.statements:>10,} {statements:>7} {self.branches:>9,} {branches:>7}"
        return f"{self.name:<44} {counts} {both:>7}"


HEAD = f"{'':<44} {'statements':>10} {'run %':>7} {'branches':>9} {'run %':>7} {'both %':>7}"


def _percent(part: int, whole: int) -> str:
    return f"{100 * part / whole:.1f}" if whole else "-"


def added(name: str, parts: Iterable[Covered]) -> Covered:
    """Several files put together."""
    every = list(parts)
    totals = [sum(getattr(each, field) for each in every) for field in list(Covered.__dataclass_fields__)[1:]]
    return Covered(name, *totals)


def by_folder(files: Sequence[Covered]) -> list[Covered]:
    """Files of ``analysis/`` put together by their first folder, and all of them at the end."""
    folders = defaultdict(list)
    for each in files:
        folders["/".join(each.name.split("/")[:2]) if each.name.count("/") > 1 else "analysis/*.py"].append(each)
    return [*(added(name, parts) for name, parts in sorted(folders.items())), added("all", files)]


def least(files: Sequence[Covered], n: int = 10) -> list[Covered]:
    """The files with the least run of them."""
    return sorted((each for each in files if each.statements), key=lambda each: (each.share, each.name))[:n]


def out_of_report(report: Mapping[str, Mapping[str, object]]) -> list[Covered]:
    """Files of a JSON report of coverage."""
    names = ("num_statements", "covered_lines", "num_branches", "covered_branches")
    rows = {name: told["summary"] for name, told in report["files"].items()}
    return [Covered(Path(name).as_posix(), *(row[each] for each in names)) for name, row in sorted(rows.items())]


def together(root: Path, runs: Sequence[FileRun], folder: Path) -> list[Covered]:
    """Put together what all processes of all test files ran."""
    settings = folder / "settings"
    settings.write_text(
        f"[run]\nbranch = True\nsource = analysis\nrelative_files = True\ndata_file = {folder / 'all'}\n"
    )
    parts = [str(path) for run in runs for path in run.data]
    report = folder / "all.json"
    for words in (
        ["combine", "--keep", "--quiet", *parts],
        ["json", "--quiet", "--include=analysis/*", "-o", str(report)],
    ):
        own = [words[0], f"--rcfile={settings}", *words[1:]]
        subprocess.run([sys.executable, "-m", "coverage", *own], cwd=root, check=True)
    return out_of_report(json.loads(report.read_text(encoding="utf-8")))


def main() -> None:
    """Measure and print; with ``--write`` keep the figures."""
    parser = argparse.ArgumentParser(prog="python -m tests.health.coverage", description=__doc__)
    parser.add_argument("tests", nargs="*", metavar="PATH", help="test folders and files (all)")
    parser.add_argument("--commit", default="HEAD", help="commit of this checkout to measure (HEAD)")
    parser.add_argument("--kept", type=Path, default=KEPT, help="folder of the clone and of what was measured")
    parser.add_argument("--write", action="store_true", help="keep the result in tests/health/results/")
    args = parser.parse_args()
    root = committed(args.kept, args.commit)
    runs = []
    for run in measure(root, files_of_tests(root, args.tests), args.kept):
        runs.append(run)
        print(f"{run.file} {run.seconds:.0f} s{'' if run.sound else ' FAILED'}", file=sys.stderr, flush=True)
    files = together(root, runs, args.kept)
    failed = [run.file for run in runs if not run.sound]
    print("\n".join([HEAD, *(each.line() for each in by_folder(files)), "", "Least covered:"]))
    print("\n".join(each.line() for each in least(files)))
    print(f"{len(runs)} test files run; with a failed test: {failed or 'none'}")
    if args.write:
        content = {
            "commit": commit_of(root),
            "code_tree": tree_of(root),
            "tests": args.tests or ["all"],
            "test_files": len(runs),
            "failed": failed,
        }
        keep(
            "coverage",
            content | {"folders": [asdict(e) for e in by_folder(files)], "files": [asdict(e) for e in files]},
        )


if __name__ == "__main__":
    main()
