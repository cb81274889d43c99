"""Writes the invented jobs and intakes of this check: ``python -m tests.reference.pooled.make_data``."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from analysis.cohort.features import build_cohort
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.questions.intake_columns import intake_terms
from analysis.records.log import Log

DATA = Path(__file__).resolve().parent / "data"


def main() -> None:
    rows = build_cohort(Log.from_tables(simulate(Shop(jobs=260, technician_effects=False), 12).tables)).first_boots
    facts = [term.column for term in intake_terms()]
    jobs, later = rows.head(150)[[*facts, "first_boot"]], rows.iloc[150:]
    jobs.to_csv(DATA / "invented_jobs.csv", index=False, lineterminator="\n")
    inside = later["device_age_years"].le(jobs["device_age_years"].max()) | later["device_age_years"].isna()
    asked = later[inside][facts].head(12).copy()
    asked.iloc[0, facts.index("board_family")] = "FAM-NEW"
    asked.iloc[1, facts.index("board_family")] = "FAM-NEW"
    asked.iloc[2, facts.index("device_class")] = None  # never blank among the jobs
    pd.DataFrame(asked).to_csv(DATA / "invented_intakes.csv", index=False, lineterminator="\n")


if __name__ == "__main__":
    main()
