"""Jobs worth talking about: failures most likely to have succeeded, successes least likely."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analysis.cohort.outcomes import Ending
from analysis.records.dictionary import BY_NAME
from analysis.records.log import Log
from analysis.records.problems import plural


@dataclass(frozen=True)
class TalkJob:
    """One job for the meeting.

    Parameters
    ----------
    job_id : str
        The shop's code.
    chance : float
        Chance of first-boot success expected from intake facts alone.
    succeeded : bool
        Whether it booted at the first test.
    facts : str
        Damage, family and earlier rework, in words.
    done : str
        What was done before boot test 1, in words; says what was not recorded.
    cause : str
        Cause written, with its evidence, or what became of the job since; empty for successes.
    hours : float
        Bench hours; NaN where not recorded.
    """

    job_id: str
    chance: float
    succeeded: bool
    facts: str
    done: str
    cause: str
    hours: float


def _text(table: str, column: str, code: object) -> str:
    return "" if code is None or pd.isna(code) else BY_NAME[table][column].text_of(str(code))


def _facts(row: pd.Series) -> str:
    parts = [_text("jobs", "intake_damage", row["intake_damage"])]
    if pd.notna(row["board_family"]):
        parts.append(str(row["board_family"]))
    rework = row["prior_rework"]
    if rework in ("elsewhere", "here"):
        parts.append(f"reworked {rework} before")
    if row["underfill"] in ("partial", "full"):
        parts.append(f"{row['underfill']} underfill")
    return ", ".join(parts)


def _done(row: pd.Series) -> str:
    parts = []
    if pd.notna(row["clean_passes_per_side"]):
        parts.append(f"{row['clean_passes_per_side']:.1f} passes a side")
    if pd.notna(row["pads_lost_n"]):
        parts.append("no pads lost" if row["pads_lost_n"] == 0 else f"{plural(int(row['pads_lost_n']), 'pad')} lost")
    if pd.notna(row["install_set_temp_c"]):
        parts.append(f"install set {row['install_set_temp_c']:.0f} °C")
    elif row["install_temp_entry"] == "unchanged preset":
        parts.append("install temperature left at the preset")
    if pd.notna(row["donor_age_years"]):
        years = row["donor_age_years"]
        parts.append("donor under 1 year old" if years < 1 else f"donor {plural(round(years), 'year')} old")
    return ", ".join(parts) or "no work recorded before the test"


def _cause(row: pd.Series) -> str:
    if pd.isna(row["failure_cause"]):
        if row["first_boot"] == 1:
            return ""
        later = {Ending.OPEN: "still open", Ending.RECOVERED: "recovered later", Ending.LOCKED: "boots, locked, later"}
        return later.get(row["ending"], "no cause written")
    evidence = row["cause_evidence"]
    suffix = "" if pd.isna(evidence) else f" ({evidence})"
    return _text("jobs", "failure_cause", row["failure_cause"]) + suffix


def jobs_to_talk_about(rows: pd.DataFrame, chance: pd.Series, most: int = 3) -> tuple[TalkJob, ...]:
    """Pick the most surprising first boots of a month.

    Parameters
    ----------
    rows : DataFrame
        First-boot rows of the month (see :func:`analysis.cohort.features.build_cohort`).
    chance : Series of float
        Expected chance, indexed like ``rows``; rows with NaN are not considered.
    most : int
        Failures and successes to list at most.

    Returns
    -------
    tuple of TalkJob
        Failures by falling chance, then successes by rising chance; only failures above an even chance and
        successes below one, so that nothing expected is listed.
    """
    known = rows.assign(chance=chance)[chance.notna()]
    failures = known[known["first_boot"].eq(0) & known["chance"].gt(0.5)].sort_values("chance", ascending=False)
    successes = known[known["first_boot"].eq(1) & known["chance"].lt(0.5)].sort_values("chance")
    chosen = pd.concat([failures.head(most), successes.head(most)])
    return tuple(
        TalkJob(
            str(row["job_id"]),
            float(row["chance"]),
            bool(row["first_boot"] == 1),
            _facts(row),
            _done(row),
            _cause(row),
            float(row["bench_hours"]),
        )
        for _, row in chosen.iterrows()
    )


DONOR_AGE = ("donor_age_years", "donor_age_band", "donor_model_year")  # one of them says the age


@dataclass(frozen=True)
class Blank:
    """How much of a column is filled in the log; a donor's age by whichever way it is written."""

    table: str
    column: str
    title: str
    filled: int
    rows: int


def blanks(log: Log) -> tuple[Blank, ...]:
    """Filled cells of every predictor of the tables in use, emptiest first."""
    out = []
    for name, table in log.tables.items():
        for column in BY_NAME[name].columns:
            if column.role == "predictor" and len(table) and column.name != "second_damage":
                ways = DONOR_AGE if column.name in DONOR_AGE else (column.name,)
                filled = int(table[list(ways)].notna().any(axis=1).sum())
                out.append(Blank(name, column.name, column.title, filled, len(table)))
    return tuple(sorted(out, key=lambda b: (b.filled / b.rows, b.table, b.column)))
