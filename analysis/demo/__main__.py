"""``python -m analysis.demo`` writes the demo log again; ``--describe`` prints its levels."""

from __future__ import annotations

import argparse
from pathlib import Path

import pandas as pd

from analysis.demo.simulator import Simulated, simulate
from analysis.demo.writing import DEMO_SEED, DEMO_SHOP, write_demo

FOLDER = Path(__file__).resolve().parents[2] / "data_demo"


def levels(simulated: Simulated) -> pd.Series:
    """The levels the demo should show."""
    jobs, tests = simulated.tables["jobs"], simulated.tables["boot_tests"]
    success = tests["boot_result"].isin(["data_readable", "starts_locked"])
    closed = jobs[jobs["decision"].eq("accepted") & jobs["outcome"].notna()]
    out = {"jobs": len(jobs), "share declined": jobs["decision"].eq("declined").mean()}
    lost = jobs["outcome"].eq("not_recovered") & jobs["first_boot_result"].eq("not_tested")
    first = tests["test_no"].eq(1)
    out["first boot"] = success[first].sum() / (first.sum() + lost.sum())
    for k in (1, 2, 3):
        mine = tests["test_no"].eq(k)
        out[f"boot test {k}: tried"], out[f"boot test {k}: share booted"] = mine.sum(), success[mine].mean()
    out["recovered of accepted closed"] = closed["outcome"].eq("recovered").mean()
    out["lost for good of accepted closed"] = (~closed["loss_reversible"].fillna(True)).mean()
    out["open at the end"] = (jobs["decision"].eq("accepted") & jobs["outcome"].isna()).sum()
    out["heat steps a job"] = len(simulated.tables["heat_steps"]) / simulated.tables["heat_steps"]["job_id"].nunique()
    return pd.Series(out, dtype=float).round(3)


def main() -> None:
    """Write or describe the demo log."""
    parser = argparse.ArgumentParser(prog="python -m analysis.demo", description=__doc__)
    parser.add_argument("--describe", action="store_true", help="print levels; write nothing")
    parser.add_argument("--folder", type=Path, default=FOLDER, help="where to write (data_demo/)")
    args = parser.parse_args()
    if args.describe:
        print(levels(simulate(DEMO_SHOP, DEMO_SEED)).to_string())
        return
    write_demo(args.folder)
    print(f"Demo log written to {args.folder}")


if __name__ == "__main__":
    main()
