"""What to try next: a small plan that decides by lot, for the contrast whose answer is worth most.

The lot makes both ways go to like boards, so that nothing needs to be adjusted for and nothing unrecorded can mislead.
"""

from __future__ import annotations

import csv
import hashlib
import io
import math
import re
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from analysis.cohort.technique_rows import TechniqueRows
from analysis.errors import ReworkError
from analysis.questions.contrasts import Contrast
from analysis.questions.techniques import POWER_SUM, Answer, Told
from analysis.questions.verdicts import Verdict
from analysis.records.dictionary import BY_NAME

RNG_SEED = 20  # where no lot is shown; a list to be used gets a fresh one
BLOCKS = (2, 4)  # lengths of a block, drawn by lot, so that the last of a block cannot be foreseen for sure
SPARE = 1.5  # lines of a damage class, as a multiple of the jobs expected of it
DAYS_LOOKED_AT = 365
MOST_MONTHS = 12
FEWEST_JOBS, MOST_JOBS = 24, 5000
MOST_SEED = 2**31
EARLY_P, LAST_P = 0.001, 0.05  # Haybittle and Peto: stop at half only where hardly a doubt is left
SIZES = (40, 80, 160, 320, 640)
# The lot stands last, so that a strip folded back along the edge of the paper covers all that are still to come.
COLUMNS = ("plan", "damage_class", "line", "written_consent", "job_id", "note", "way")


CODE = re.compile(
    r"^(?P<fixed>(?P<name>\w+) seed (?P<seed>[0-9]{1,10}) jobs (?P<jobs>[0-9]{1,5}) look (?P<look>[0-9]{1,5})"
    r" lines (?P<lines>[0-9]{1,6}) after (?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})) check (?P<check>[0-9a-f]{8})$"
)


def check_of(fixed: str) -> str:
    """Eight digits made from what a plan fixed; a number changed by hand is found out, a forger is not."""
    return hashlib.sha256(fixed.encode()).hexdigest()[:8]


@dataclass(frozen=True)
class Worth:
    """What an answer would be worth.

    Parameters
    ----------
    contrast : Contrast
    per_100 : float
        First boots that knowing the better way for sure would add to 100 jobs, on average over what is still possible.
    """

    contrast: Contrast
    per_100: float


@dataclass(frozen=True)
class Reach:
    """What a number of jobs would show.

    Parameters
    ----------
    jobs : int
    months : float
        At the bench's pace; infinite when it has none.
    points : float
        Difference that would be shown in four of five such plans, in percentage points.
    """

    jobs: int
    months: float
    points: float


@dataclass(frozen=True)
class Plan:
    """A plan for coming jobs.

    Parameters
    ----------
    contrast : Contrast
    jobs, first_look : int
        Jobs until the end, and until the one look before it.
    rng_seed : int
        The lots can be drawn again from it.
    after : Timestamp
        Only jobs received after this day count.
    lines : mapping of str to tuple of str
        Way of every line, by damage class.
    reach : Reach
        What it would show.
    """

    contrast: Contrast
    jobs: int
    first_look: int
    rng_seed: int
    after: pd.Timestamp
    lines: Mapping[str, tuple[str, ...]]
    reach: Reach

    @property
    def code(self) -> str:
        """Everything that was fixed beforehand, in one cell of the file, with a check that none of it was changed."""
        fixed = (
            f"{self.contrast.name} seed {self.rng_seed} jobs {self.jobs} look {self.first_look} lines"
            f" {sum(map(len, self.lines.values()))} after {self.after:%Y-%m-%d}"
        )
        return f"{fixed} check {check_of(fixed)}"


@dataclass(frozen=True)
class NextTrial:
    """The answer to "what to try next".

    Parameters
    ----------
    worth : tuple of Worth
        Contrasts that may be drawn by lot and are not answered yet, the most valuable first.
    plan : Plan or None
        For the first of them; None when there is none or no pace is known; ``why`` says so.
    why : str
    a_month : float
        Jobs with a first boot a month, of the last twelve months.
    sizes : tuple of Reach
        What other numbers of jobs would show; the last is what the smallest difference worth acting on takes.
    """

    worth: tuple[Worth, ...]
    plan: Plan | None
    why: str
    a_month: float
    sizes: tuple[Reach, ...]


def worth_of(answer: Answer, smallest_points: float) -> float:
    """First boots per 100 jobs that a sure answer would add.

    Before the log was looked at, differences are taken as normal around zero with the smallest difference worth acting
    on as SD; a refused contrast has taught nothing. The expected value of perfect information (Raiffa and Schlaifer,
    Applied Statistical Decision Theory, 1961; from memory): the mean of the better way's gain, less the gain of the way
    that looks better now.
    """
    prior = smallest_points / 100
    if not isinstance(answer, Told):
        return 100 * prior / math.sqrt(2 * math.pi)
    variance = answer.difference.se**2
    share = prior**2 / (prior**2 + variance)
    mean, sd = share * answer.difference.estimate, math.sqrt(share * variance)
    at = abs(mean) / sd
    return 100 * sd * float(stats.norm.pdf(at) - at * stats.norm.sf(at))


def ruled_out(answer: Answer, smallest_points: float) -> bool:
    """Whether the log leaves no difference worth acting on: no client's device is drawn for what it cannot bring."""
    if not isinstance(answer, Told) or answer.unlike or answer.doubtful:
        return False
    low, high = answer.difference.interval()
    return max(-low, high) < smallest_points / 100


def may_be_drawn(answer: Answer, least: int, smallest_points: float) -> bool:
    """Whether a lot may decide: both ways are in use, neither is known to be better, and one may be by enough."""
    groups = answer.groups
    in_use = min(groups.with_it.n, groups.without.n) >= least
    return (
        answer.contrast.can_be_drawn
        and not answer.contrast.exploratory
        and in_use
        and not (isinstance(answer, Told) and answer.verdict is Verdict.CLEAR)
        and not ruled_out(answer, smallest_points)
    )


def pace(found: TechniqueRows, last: pd.Timestamp) -> float:
    """First boots a month over the last year of the log, or as many days of it as there are; 0 without dates.

    Counted in days: a month of which the log holds a week is a week. Jobs not taken by lot come in all the same.
    """
    days = found.rows["first_boot_date"].dropna()
    if days.empty or pd.isna(last):
        return 0.0
    span = min(DAYS_LOOKED_AT, (last - days.min()).days + 1)
    return float((days > last - pd.Timedelta(days=span)).sum() / found.share / span * DAYS_LOOKED_AT / 12)


def reach_of(jobs: int, a_month: float, rate: float) -> Reach:
    """What so many jobs, half of either way, would show where about ``rate`` of them boot."""
    points = 100 * POWER_SUM * math.sqrt(4 * rate * (1 - rate) / jobs)
    return Reach(jobs, jobs / a_month if a_month else math.inf, points)


def jobs_needed(rate: float, smallest_points: float) -> int:
    """Jobs, both ways together, for 80 % power at the smallest difference worth acting on around ``rate``."""
    half = smallest_points / 200
    ends = np.clip([rate - half, rate + half], 0.01, 0.99)
    each = POWER_SUM**2 * float((ends * (1 - ends)).sum()) / (smallest_points / 100) ** 2
    return 2 * math.ceil(each)


def draw_lines(damage: str, ways: tuple[str, str], wanted: int, rng_seed: int) -> tuple[str, ...]:
    """Draw the lots of one damage class: blocks with both ways equally often, at least ``wanted`` lines.

    More lines begin with the same ones, so that a list can be checked whatever its length.
    """
    codes = [choice.code for choice in BY_NAME["jobs"]["intake_damage"].choices]
    rng = np.random.default_rng([rng_seed, codes.index(damage)])
    out: list[str] = []
    while len(out) < wanted:
        half = int(rng.choice(BLOCKS)) // 2
        out += [ways[i] for i in rng.permutation([0, 1] * half)]
    return tuple(out)


def plan_for(
    contrast: Contrast, rows: pd.DataFrame, after: pd.Timestamp, jobs: int, rng_seed: int, reach: Reach
) -> Plan:
    """A plan of so many jobs, with lines for the damage classes seen, in proportion and some to spare."""
    share = rows["intake_damage"].value_counts(normalize=True).sort_index()
    lines = {
        str(damage): draw_lines(str(damage), contrast.arms, math.ceil(SPARE * jobs * part) + 2, rng_seed)
        for damage, part in share.items()
    }
    return Plan(contrast, jobs, jobs // 2, rng_seed, after, lines, reach)


def next_trial(
    found: TechniqueRows,
    answers: Sequence[Answer],
    after: pd.Timestamp,
    smallest_points: float = 10.0,
    least: int = 10,
    rng_seed: int = RNG_SEED,
    jobs: int = 0,
) -> NextTrial:
    """Choose the contrast of most value and plan it.

    Parameters
    ----------
    found : TechniqueRows
    answers : sequence of Told or Refused
    after : Timestamp
        Last day of the log.
    smallest_points : float
        Smallest difference worth acting on.
    least : int
        Jobs of either way from which it counts as in use.
    rng_seed : int
        Seed of the lots.
    jobs : int
        Jobs of the plan; 0 for what a year brings, or what the smallest difference takes if that is fewer.

    Raises
    ------
    ReworkError
        If the number of jobs or the seed cannot be used.
    """
    _refuse_odd(jobs, rng_seed)
    if found.undatable is not None:  # the bench's rate and pace would be those of jobs picked by their outcome
        return NextTrial((), None, found.undatable.why, 0.0, ())
    able = [answer for answer in answers if may_be_drawn(answer, least, smallest_points)]
    worth = sorted(
        (Worth(answer.contrast, worth_of(answer, smallest_points)) for answer in able), key=lambda each: -each.per_100
    )
    a_month = pace(found, after)
    rate = float(found.rows["first_boot"].mean()) if len(found.rows) else 0.5
    rate = min(max(rate, 0.05), 0.95)
    needed = jobs_needed(rate, smallest_points)
    sizes = [reach_of(size, a_month, rate) for size in SIZES if size < needed] + [reach_of(needed, a_month, rate)]
    if not worth or not a_month:
        why = "no contrast is both in use, open and fit to be drawn by lot" if not worth else "no job carries a date"
        return NextTrial(tuple(worth), None, why, a_month, tuple(sizes))
    size = jobs or max(FEWEST_JOBS, min(needed, 4 * round(a_month * MOST_MONTHS / 4)))
    plan = plan_for(worth[0].contrast, found.rows, after, size, rng_seed, reach_of(size, a_month, rate))
    return NextTrial(tuple(worth), plan, "", a_month, tuple(sizes))


def _refuse_odd(jobs: int, rng_seed: int) -> None:
    if jobs and not FEWEST_JOBS <= jobs <= MOST_JOBS:
        todo = "Name a number in between, or 0 for what fits a year."
        raise ReworkError(f"A plan of {jobs} jobs", rule=f"A plan has {FEWEST_JOBS} to {MOST_JOBS} jobs.", todo=todo)
    if not 0 <= rng_seed < MOST_SEED:
        raise ReworkError(
            f"{rng_seed} is no random seed.", rule="A seed is a whole number from 0.", todo="Name another."
        )


def fresh_seed() -> int:
    """A seed that nobody can know beforehand."""
    return secrets.randbelow(MOST_SEED)


def plan_csv(plan: Plan) -> str:
    """The lots as a CSV to print: a line for each coming job, in the order of each damage class."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for damage, ways in plan.lines.items():
        for number, way in enumerate(ways, 1):
            writer.writerow([plan.code, damage, number, "", "", "", way])
    return out.getvalue()
