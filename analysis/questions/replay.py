"""Had the rule of the counter been followed in the last year: what would have been declined, forgone and saved.

Every month is decided by what was known before it: models, the rule for trusting them, class rates, hours and jobs
alike are made anew from outcomes known by then. Only accepted jobs can be replayed; "discuss" and "outside our
experience" count as accepted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import astuple, dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.models.offer_value import Basis
from analysis.models.pooled_design import laid_out
from analysis.models.rolling import Rolling
from analysis.questions.assess import Advice, decide_all, offer_of
from analysis.questions.bench_model import FACTS, PAST_COLUMNS, BenchModel, bench_model, intake_rows
from analysis.questions.intake_columns import donor_terms, intake_terms
from analysis.questions.intake_form import Intake
from analysis.questions.offer_rows import Outcome, OutcomeRows
from analysis.records.log import Log
from analysis.records.settings import Settings

MONTHS = 12
LEVEL = 0.8
DRAWS = 4000


@dataclass(frozen=True)
class Sum:
    """A total over the declined jobs, with its interval from resampling whole months; NaN with one month only."""

    total: float
    low: float
    high: float


@dataclass(frozen=True)
class Replay:
    """The year, had the rule been followed.

    Parameters
    ----------
    rows : DataFrame
        One row a job: ``job_id``, ``month``, ``advice``, ``source`` (model or class rate), ``recovered``, ``hours``,
        ``margin`` and ``before_hours`` (as they came, with and without the cost of the hours; NaN where not known), and
        ``fee`` and ``fee_too_low``: whether even a success was expected to cost more than it; ``staged``: whether the
        fee is a staged one, of which a share is taken as due at the start.
    declined : int
    recoveries, hours, money, money_idle : Sum
        Recoveries forgone; bench hours saved; money saved (losses avoided less gains forgone); the same if the saved
        hours would have stood idle, so that their cost is not saved.
    hours_n, money_n : int
        Declined jobs with known hours, and with known money; the sums are of these alone.
    fee_too_low : int
        Declined jobs whose fee was not expected to cover even a success, whatever the chance.
    still_open : int
        Accepted jobs received in these months that are not closed and so cannot be replayed.
    start_share : float
        Share of a staged fee taken as due at the start: the log does not hold it.
    """

    rows: pd.DataFrame
    declined: int
    recoveries: Sum
    hours: Sum
    money: Sum
    money_idle: Sum
    hours_n: int
    money_n: int
    fee_too_low: int
    still_open: int
    start_share: float

    @property
    def staged_n(self) -> int:
        """Replayed jobs with a staged fee: the verdict and the money of these rest on ``start_share``."""
        return int(self.rows["staged"].sum())


def past_intakes(here: pd.DataFrame, facts: pd.DataFrame, start_share: float) -> list[Intake]:
    """Past jobs as they stood on the counter, one a row, and so are their facts."""

    def number(value: object) -> float | None:
        return None if pd.isna(value) else float(str(value))

    money = here[["job_id", "fee_basis", "fee_amount", "donor_cost"]].itertuples(index=False)
    return [
        Intake(
            facts.iloc[row : row + 1],
            {},
            "" if pd.isna(basis) else str(basis),
            number(fee),
            number(cost),
            start_share,
            name=str(job),
        )
        for row, (job, basis, fee, cost) in enumerate(money)
    ]


def _looked_at(rows: OutcomeRows) -> pd.DataFrame:
    """The columns that decisions rest on, laid out once for all months."""
    return laid_out(rows.rows, (*intake_terms(), *donor_terms()), *PAST_COLUMNS, *astuple(rows.names))


def _decided(bench: BenchModel, here: pd.DataFrame, settings: Settings, start_share: float) -> list[dict[str, object]]:
    out = []
    facts = intake_rows(here[list(FACTS)].to_dict("records"))
    decided = decide_all(bench, facts, past_intakes(here, facts, start_share), settings)
    told = here[["job_id", "received_month", "recovered", "chain_hours"]].to_dict("records")
    for row, found in zip(told, decided, strict=True):
        intake = found.intake
        chance = found.chances.get(Outcome.RECOVERED)
        offer, won = offer_of(intake, settings), row["recovered"] == 1
        margin = float("nan") if offer is None else float(offer.margins(row["chain_hours"], won))
        out.append(
            {
                "job_id": row["job_id"],
                "month": row["received_month"],
                "advice": found.advice,
                "source": "" if chance is None else chance.source,
                "recovered": row["recovered"],
                "hours": row["chain_hours"],
                "margin": margin,
                "fee": float("nan") if intake.fee is None else intake.fee,
                "staged": intake.basis == Basis.STAGED,
                "fee_too_low": found.value is not None and found.value.on_success < 0,
                "before_hours": float("nan") if offer is None or np.isnan(margin) else float(offer.margins(0.0, won)),
            }
        )
    return out


def replay(
    log: Log,
    rows: Mapping[Outcome, OutcomeRows],
    rolled: Mapping[Outcome, Rolling],
    *,
    rng_seed: int,
    start_share: float,
    months: int = MONTHS,
) -> Replay:
    """Follow the rule over the accepted closed jobs received in the last months of the log.

    Parameters
    ----------
    log : Log
    rows, rolled : mapping of Outcome
    rng_seed : int
        For the bootstrap.
    start_share : float
        Share of a staged fee due at the start, between 0 and 1.
    months : int
    """
    jobs = _looked_at(rows[Outcome.RECOVERED])
    only = {Outcome.RECOVERED: replace(rows[Outcome.RECOVERED], rows=jobs)}
    money = log.tables["jobs"].set_index("job_id")[["fee_basis", "fee_amount", "donor_cost"]]
    decided: list[dict[str, object]] = []
    last = log.last_date.to_period("M") if not pd.isna(log.last_date) else None
    periods = pd.PeriodIndex([], freq="M") if last is None else pd.period_range(last - (months - 1), last, freq="M")
    for month in periods:
        here = jobs[jobs["received_month"].eq(month)].join(money, on="job_id")
        if len(here):
            bench = bench_model(only, rolled, month.start_time)
            decided += _decided(bench, here, log.settings, start_share)
    columns = [
        "job_id",
        "month",
        "advice",
        "source",
        "recovered",
        "hours",
        "margin",
        "before_hours",
        "fee",
        "staged",
        "fee_too_low",
    ]
    frame = pd.DataFrame(decided, columns=columns)
    declined = frame["advice"].eq(Advice.DECLINE).to_numpy(bool)
    saved = [-frame[name].astype(float) for name in ("margin", "before_hours")]
    parts = [frame["recovered"], frame["hours"], *saved]
    sums = [summed(frame["month"], np.where(declined, part.astype(float).fillna(0.0), 0.0), rng_seed) for part in parts]
    return Replay(
        rows=frame,
        declined=int(declined.sum()),
        recoveries=sums[0],
        hours=sums[1],
        money=sums[2],
        money_idle=sums[3],
        hours_n=int(frame.loc[declined, "hours"].notna().sum()),
        money_n=int(frame.loc[declined, "margin"].notna().sum()),
        fee_too_low=int(frame.loc[declined, "fee_too_low"].sum()),
        still_open=_still_open(log, periods),
        start_share=start_share,
    )


def _still_open(log: Log, periods: pd.PeriodIndex) -> int:
    jobs = log.tables["jobs"]
    here = jobs["received_date"].dt.to_period("M").isin(periods) & jobs["decision"].eq("accepted")
    return int((here & jobs["outcome"].isna() & jobs["closed_date"].isna()).fillna(False).sum())


def summed(month: pd.Series, values: NDArray[np.float64], rng_seed: int) -> Sum:
    """Total, with a bootstrap of whole months: jobs of one month share what nobody wrote down."""
    by_month = pd.Series(values).groupby(month.to_numpy()).sum().to_numpy(float)
    n, total = len(by_month), float(values.sum())
    if n < 2:
        return Sum(total, float("nan"), float("nan"))
    rng = np.random.default_rng(rng_seed)
    drawn = rng.multinomial(n, np.full(n, 1 / n), size=DRAWS) @ by_month
    low, high = np.quantile(drawn, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    return Sum(total, float(low), float(high))
