"""What was planted in the demo log, beside what the suite says of it.

``python -m tests.studies.answer_key`` prints a line for each planted technique, technician and cause. Of an effect the
line holds if the 95 % interval covers the planted size and a planted nothing is not called "clear"; one log is one
draw, so that about one interval in twenty misses, and intervals that are drawn towards the average hold their share
over technicians as the prior supposes them, less often for the one furthest out. How often over many logs:
``tests.studies.techniques``, ``technicians`` and ``watch``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis.cohort.features import build_cohort
from analysis.cohort.technique_rows import technique_rows
from analysis.demo.simulator import Simulated, simulate
from analysis.demo.writing import DEMO_SEED, DEMO_SHOP
from analysis.questions.contrasts import DECLARED
from analysis.questions.review import review_of
from analysis.questions.technicians import NotComparable, compare_technicians
from analysis.questions.techniques import Refused, Told, techniques
from analysis.questions.verdicts import Verdict
from analysis.records.log import read_log
from tests.studies.techniques import PLANTED, planted_difference

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
BAD_MONTH = "2024-01"


@dataclass(frozen=True)
class Line:
    """One planted thing, in words, and whether what is said of it fits."""

    what: str
    planted: str
    said: str
    fits: bool


def _points(value: float) -> str:
    return f"{100 * value:+.0f}"


def of_techniques(shop: Simulated) -> Iterator[Line]:
    """Every declared contrast whose effect was planted."""
    found = technique_rows(read_log(DEMO), build_cohort(read_log(DEMO)))
    for answer in techniques(found, DECLARED):
        name = answer.contrast.name
        if name not in PLANTED:
            continue
        if isinstance(answer, Refused):
            yield Line(name, PLANTED[name], f"refused: {answer.why}", True)
            continue
        yield _of_contrast(shop, name, answer, found.rows)


def _of_contrast(shop: Simulated, name: str, answer: Told, rows: pd.DataFrame) -> Line:
    arm = pd.Series(answer.contrast.arm(rows), index=rows["job_id"].astype(str)).dropna()
    truth = planted_difference(shop, name, arm)
    low, high = answer.difference.interval()
    said = f"{_points(answer.difference.estimate)} ({_points(low)} to {_points(high)}) points, {answer.verdict}"
    false_claim = truth == 0 and answer.verdict is Verdict.CLEAR
    return Line(name, f"{_points(truth)} points ({PLANTED[name]})", said, low <= truth <= high and not false_claim)


def of_technicians(shop: Simulated) -> Iterator[Line]:
    """Every technician against the mean of all, in log odds.

    The comparison knows neither lots nor experience, so that what the bad lot and earlier jobs did to a person's own
    jobs belongs to what it should find; the person's planted effect alone stands in brackets.
    """
    log = read_log(DEMO)
    settings = log.settings
    found = compare_technicians(build_cohort(log), settings.minimum_technician_n, settings.smallest_difference_points)
    if isinstance(found, NotComparable):
        yield Line("technicians", "five", "not compared", False)
        return
    alone = pd.Series({person.code: shop.truth.technician[person.code] for person in found.people})
    jobs = shop.latent[shop.latent["technician_id"].isin(alone.index)]
    learnt = (
        jobs["earlier_jobs_n"].clip(upper=shop.truth.learning_ends_at_jobs) * shop.truth.learning_per_100_jobs / 100
    )
    met = (learnt + jobs["bad"] * shop.truth.bad_lot_log_odds).groupby(jobs["technician_id"].astype(str)).mean()
    whole = alone + met
    for person in found.people:
        truth = whole[person.code] - whole.mean()
        own = alone[person.code] - alone.mean()
        mean, low, high = person.log_odds
        raw = f"raw {person.raw.rate:.0%} of {person.raw.n}"
        said = f"{mean:+.2f} ({low:+.2f} to {high:+.2f}) log odds, {person.verdict}; {raw}"
        yield Line(person.code, f"{truth:+.2f} log odds ({own:+.2f} alone)", said, low <= truth <= high)


def of_the_bad_lot(shop: Simulated) -> Line:
    """The donor lot of the winter, as the review of January tells it."""
    review = review_of(read_log(DEMO), pd.Period(BAD_MONTH))
    looked = review.watching.looked
    planted = f"{shop.truth.bad_lot}: odds of success divided by eight, from {shop.truth.bad_lot_received_from}"
    if looked is None or not looked.found.listed:
        return Line("bad donor lot", planted, "not found", False)
    first = looked.found.listed[0]
    began = f", alarm {looked.signal.day:%Y-%m-%d}, since about {looked.signal.began:%Y-%m-%d}" if looked.signal else ""
    return Line(
        "bad donor lot", planted, f"{first.code} first ({first.verdict}){began}", first.code == shop.truth.bad_lot
    )


def lines() -> list[Line]:
    """The whole key."""
    shop = simulate(DEMO_SHOP, DEMO_SEED)
    return [*of_techniques(shop), *of_technicians(shop), of_the_bad_lot(shop)]


def main() -> None:
    """Print the key."""
    print(f"{'what':<14} {'planted':<58} said")
    for line in lines():
        print(f"{line.what:<14} {line.planted:<58} {line.said}{'' if line.fits else '   DOES NOT FIT'}")


if __name__ == "__main__":
    main()
