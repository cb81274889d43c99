"""What an intake is worth: margin, chance of a loss, break-even chance, margin a bench hour.

How the client pays, with fee F and a share s of it due at the start and kept whatever happens:

- no result, no fee: s = 0;
- flat fee: s = 1;
- staged fee: 0 < s < 1, the rest is due on success.

So success brings F and failure brings s F. Either way the donor is used up and the bench hours are paid.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import ModelError
from analysis.models.results import Result

Floats = NDArray[np.float64]


class Basis(StrEnum):
    """How the client pays; the codes of ``fee_basis`` in jobs.csv."""

    NO_RESULT_NO_FEE = "no_result_no_fee"
    FLAT = "flat"
    STAGED = "staged"


@dataclass(frozen=True)
class Offer:
    """The money of one intake, all in the shop's currency.

    Parameters
    ----------
    basis : Basis
    fee : float
        Paid in all on success.
    donor_cost : float
        The donor is used up whatever happens.
    hour_cost : float
        Cost of a bench hour.
    share_at_start : float, optional
        For a staged fee, and only for it: share of the fee due at the start and kept, between 0 and 1.

    Raises
    ------
    ModelError
        If an amount is negative or missing, or the share does not fit the basis.
    """

    basis: Basis
    fee: float
    donor_cost: float
    hour_cost: float
    share_at_start: float | None = None

    def __post_init__(self) -> None:
        for name in ("fee", "donor_cost", "hour_cost"):
            if not (np.isfinite(getattr(self, name)) and getattr(self, name) >= 0):
                raise ModelError(
                    f"{name.replace('_', ' ')} is {getattr(self, name)}.", rule="An amount of money of at least 0."
                )
        if (self.basis is Basis.STAGED) != (self.share_at_start is not None):
            raise ModelError(
                "The share of the fee due at the start belongs to a staged fee, and a staged fee needs it.",
                todo="Give the share for a staged fee only.",
            )
        if self.share_at_start is not None and not 0 < self.share_at_start < 1:
            raise ModelError(f"A share of {self.share_at_start} at the start is not between 0 and 1.")

    @property
    def kept(self) -> float:
        """What is kept on failure."""
        share = {Basis.NO_RESULT_NO_FEE: 0.0, Basis.FLAT: 1.0}.get(self.basis, self.share_at_start)
        return self.fee * float(share or 0.0)

    def margins(self, hours: ArrayLike, success: bool) -> Floats:
        """Margin of jobs that take these bench hours and succeed or fail."""
        paid = self.fee if success else self.kept
        return np.asarray(paid - self.donor_cost - self.hour_cost * np.asarray(hours, dtype=float))


@dataclass(frozen=True)
class HoursGiven:
    """Bench hours (total to close) of past jobs that succeeded and of those that failed.

    Parameters
    ----------
    success, failure : ndarray
        Hours of each job.
    blank : int
        Jobs left out because their hours were not recorded.
    """

    success: Floats
    failure: Floats
    blank: int

    @cached_property
    def different(self) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
        """Different hours of successes and their shares, and those of failures: many intakes ask for sums over them."""
        return _shares(self.success), _shares(self.failure)

    @cached_property
    def means(self) -> tuple[float, float]:
        """Mean hours of successes and of failures."""
        return float(self.success.mean()), float(self.failure.mean())


def _shares(hours: Floats) -> tuple[Floats, Floats]:
    values, counts = np.unique(hours, return_counts=True)
    return values, counts / len(hours)


def hours_given(hours: ArrayLike, success: ArrayLike) -> HoursGiven:
    """Part the bench hours of closed jobs by how they ended.

    Parameters
    ----------
    hours : array_like, shape (n,)
        NaN where not recorded.
    success : array_like of bool, shape (n,)

    Raises
    ------
    ModelError
        If either kind has no recorded hours: nothing can then be said of what a job costs.
    """
    all_hours, won = np.asarray(hours, dtype=float), np.asarray(success, dtype=bool)
    known = ~np.isnan(all_hours)
    parts = HoursGiven(all_hours[known & won], all_hours[known & ~won], int((~known).sum()))
    for kind, part in (("succeeded", parts.success), ("failed", parts.failure)):
        if not len(part):
            raise ModelError(
                f"No job that {kind} has its bench hours recorded.",
                rule="What an intake is worth needs the hours of past successes and of past failures.",
                todo="Fill in bench_hours of closed jobs.",
            )
    return parts


class Pays(StrEnum):
    """How the expected margin lies to the chance."""

    ALWAYS = "whatever the chance"
    NEVER = "at no chance"
    FROM = "from this chance on"
    UP_TO = "up to this chance"  # a failure that is paid and ends sooner than a success


@dataclass(frozen=True)
class BreakEven:
    """At which chance the expected margin is zero; NaN where it never is."""

    pays: Pays
    chance: float


def break_even(on_success: float, on_failure: float) -> BreakEven:
    """Chance at which success and failure balance: ``-on_failure / (on_success - on_failure)``."""
    if on_success >= 0 and on_failure >= 0:
        return BreakEven(Pays.ALWAYS, float("nan"))
    if on_success <= 0 and on_failure <= 0:
        return BreakEven(Pays.NEVER, float("nan"))
    chance = -on_failure / (on_success - on_failure)
    return BreakEven(Pays.FROM if on_success > 0 else Pays.UP_TO, chance)


@dataclass(frozen=True, kw_only=True)
class OfferValue(Result):
    """What an intake is worth; ``n`` counts past jobs with hours, ``events`` the successes among them.

    Parameters
    ----------
    chance : float
        Chance of success.
    margin : float
        Expected margin.
    margin_low, margin_high : float
        Expected margin at the ends of the chance's interval, the smaller first.
    on_success, on_failure : float
        Mean margin given the result.
    loss : float
        Chance that the job ends with a negative margin, hours varying as in the past.
    break_even : BreakEven
    hours : float
        Expected bench hours.
    margin_per_hour : float
        Expected margin over expected hours: the order of a waiting list when hours are short.
    """

    chance: float
    margin: float
    margin_low: float
    margin_high: float
    on_success: float
    on_failure: float
    loss: float
    break_even: BreakEven
    hours: float
    margin_per_hour: float


def expected_margin(offer: Offer, hours: HoursGiven, chances: ArrayLike) -> Floats:
    """Expected margin at each chance."""
    p = np.asarray(chances, dtype=float)
    won, lost = (float(offer.margins(mean, won)) for mean, won in zip(hours.means, (True, False), strict=True))
    return np.asarray(p * won + (1 - p) * lost)


def offer_value(offer: Offer, hours: HoursGiven, chance: float, low: float, high: float) -> OfferValue:
    """Value an intake.

    Parameters
    ----------
    offer : Offer
    hours : HoursGiven
        Of the jobs that are taken as its like.
    chance, low, high : float
        Chance of what the fee hangs on, with its interval.

    Raises
    ------
    ModelError
        If a chance lies outside 0 to 1 or outside its interval.
    """
    if not 0 <= low <= chance <= high <= 1:
        raise ModelError(f"The chances {low}, {chance}, {high} are not in order between 0 and 1.")
    on_success, on_failure = (
        float(offer.margins(mean, won)) for mean, won in zip(hours.means, (True, False), strict=True)
    )
    at_ends = sorted(p * on_success + (1 - p) * on_failure for p in (low, high))
    margin = chance * on_success + (1 - chance) * on_failure
    expected_hours = chance * hours.means[0] + (1 - chance) * hours.means[1]
    losing = [
        float(share[offer.margins(values, won) < 0].sum())
        for (values, share), won in zip(hours.different, (True, False), strict=True)
    ]
    return OfferValue(
        n=len(hours.success) + len(hours.failure),
        events=len(hours.success),
        converged=True,
        chance=chance,
        margin=margin,
        margin_low=at_ends[0],
        margin_high=at_ends[1],
        on_success=on_success,
        on_failure=on_failure,
        loss=chance * losing[0] + (1 - chance) * losing[1],
        break_even=break_even(on_success, on_failure),
        hours=expected_hours,
        margin_per_hour=margin / expected_hours if expected_hours > 0 else float("nan"),
    )
