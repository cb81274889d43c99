"""``python -m tests.benchmarks``: measure every step at the chosen sizes and write the table and JSON to reports/."""

from __future__ import annotations

import argparse
import json
import platform
import tempfile
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from tests.benchmarks.measure import Measured, as_json, measure
from tests.benchmarks.steps import OURS, STEPS
from tests.benchmarks.table import table

REPORTS = Path(__file__).resolve().parents[2] / "reports"
PACKAGES = (
    "numpy",
    "pandas",
    "scipy",
    "statsmodels",
    "pandera",
    "frictionless",
    "lifelines",
    "firthmodels",
    "scikit-survival",
)


def _versions() -> dict[str, str]:
    out = {"python": platform.python_version()}
    for name in PACKAGES:
        try:
            out[name] = version(name)
        except PackageNotFoundError:
            out[name] = "not installed"
    return out


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--jobs", type=int, nargs="+", default=[600, 10_000], help="sizes (600 10000); up to 1000000")
    parser.add_argument(
        "--only", nargs="+", default=[""], metavar="TEXT", help="only work whose name holds one of these, such as Cox"
    )
    parser.add_argument("--no-peers", action="store_true", help="this suite alone")
    parser.add_argument("--repeats", type=int, default=3, help="runs of each step; the least counts (3)")
    parser.add_argument("--logs", type=Path, default=Path(tempfile.gettempdir()) / "rework-benchmarks")
    parser.add_argument("--add", action="store_true", help="keep what the files hold of other steps and sizes")
    parser.add_argument("--out", type=Path, default=REPORTS, help="folder of benchmark.md and benchmark.json")
    return parser.parse_args()


def _with_those_before(found: list[Measured], file: Path) -> list[Measured]:
    """What was just measured, and what a file holds of other steps and sizes, in the order of the steps."""
    old = json.loads(file.read_text(encoding="utf-8"))["measured"] if file.exists() else []
    own = {(each.work, each.who, each.jobs) for each in found}
    kept = [one for one in (Measured(**each) for each in old) if (one.work, one.who, one.jobs) not in own]
    order = [(step.work, step.who) for step in STEPS]
    known = [one for one in [*kept, *found] if (one.work, one.who) in order]
    return sorted(known, key=lambda one: (order.index((one.work, one.who)), one.jobs))


def main() -> None:
    args = _arguments()
    args.logs.mkdir(parents=True, exist_ok=True)
    steps = [
        s for s in STEPS if any(text in s.work for text in args.only) and (s.who.startswith(OURS) or not args.no_peers)
    ]
    found: list[Measured] = []
    for jobs in args.jobs:
        for step in steps:
            found.append(measure(step, jobs, args.logs, args.repeats))
            print(
                f"{jobs:>9,}  {step.work}, {step.who}: {found[-1].word or f'{found[-1].cpu_s:.3g} s CPU'}", flush=True
            )
    args.out.mkdir(parents=True, exist_ok=True)
    if args.add:
        found = _with_those_before(found, args.out / "benchmark.json")
    text = table(found)
    (args.out / "benchmark.md").write_text(text + "\n", encoding="utf-8")
    told = {"versions": _versions(), "measured": as_json(found)}
    (args.out / "benchmark.json").write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")
    print(f"\nCPU seconds and peak memory; in brackets the peer's seconds over ours.\n\n{text}")


if __name__ == "__main__":
    main()
