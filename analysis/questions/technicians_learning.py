"""First boot by the number of jobs a technician had accepted before, as counted in this log.

Compared within each technician and each quarter of a year: everyone's earlier jobs grow with the calendar, so that
without the quarters a bad donor lot or a new station would pass for learning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import optimize, stats
from scipy.special import expit

from analysis.models.design import EVENTS_PER_DF, Design, fit_design
from analysis.models.effects import ChanceCurve, chance_curve
from analysis.models.firth import FirthResult, fit_firth, term_test
from analysis.models.terms import NOT_RECORDED, Category, Curve, FittedCurve
from analysis.questions.technicians import Technicians
from analysis.questions.technicians_rows import PERSON
from analysis.questions.terms import EXPECTED
from analysis.questions.twin import POWER
from analysis.questions.verdicts import Verdict, verdict_of

Floats = NDArray[np.float64]

PERSONAL = Category(PERSON, "technician", min_level=1)
EARLIER = Curve("experience_jobs", "earlier jobs", "jobs", df=2)
QUARTER = Category("quarter", "quarter of the year")
SHARED_BY = 3  # people who must have come so far
STEP = 100.0  # jobs that a slope belongs to


@dataclass(frozen=True)
class Learning:
    """How first boot goes with earlier jobs, within technician and quarter and on the same boards.

    Parameters
    ----------
    curve : ChanceCurve
        Average chance over the number of earlier jobs.
    p : float
        Penalised likelihood-ratio P that the number of earlier jobs does not matter.
    verdict : Verdict
    n : int
        Jobs.
    smallest : float
        Smallest steady rise for each hundred earlier jobs (log odds) that 80 of 100 such logs would have shown.
    smallest_ends : tuple of float
        Chances on the bench's own mix at both ends of the curve under that rise, the log's mean number of jobs in its
        middle. Not points over a hundred jobs: on a log with few, these end at certainty however steep the rise.
    """

    curve: ChanceCurve
    p: float
    verdict: Verdict
    n: int
    smallest: float
    smallest_ends: tuple[float, float]


def _columns(design: Design) -> tuple[int, ...]:
    return tuple(at for at in design.term_columns(EARLIER.label) if NOT_RECORDED not in design.names[at])


def _smallest_rise(fit: FirthResult, term: FittedCurve, columns: tuple[int, ...], grid: Floats) -> float:
    """Log odds of the rise for each :data:`STEP` jobs whose test reaches 5 % in 80 of 100 logs."""
    df = len(columns)
    needed = optimize.brentq(lambda nc: stats.ncx2.sf(stats.chi2.isf(0.05, df), df, nc) - POWER, 1e-3, 100)
    line = np.linalg.lstsq(term.at(grid), (grid - term.reference) / STEP, rcond=None)[0]
    block = fit.covariance[np.ix_(columns, columns)]
    return float(np.sqrt(needed / (line @ np.linalg.solve(block, line))))


def shared_range(counted: Floats, who: pd.Series) -> tuple[float, float]:
    """Numbers of earlier jobs over which the curve is drawn: as far as several people have come.

    Beyond, it would be one person's, for the whole bench to see. Empty (high under low) where only one or two have come
    beyond their first few jobs.
    """
    low, high = (float(end) for end in np.quantile(counted, [0.02, 0.98]))
    reached = np.sort(pd.Series(counted).groupby(who.astype(str).to_numpy()).max().to_numpy(float))[::-1]
    return low, min(high, float(reached[min(SHARED_BY, len(reached)) - 1]))


def learning(found: Technicians) -> Learning | None:
    """The learning curve; None when the numbers of earlier jobs do not vary enough for one.

    What the log could have shown is told from the curvature of the fit: the test statistic of a planted rise is
    chi-squared with the noncentrality that the rise has there (Self and Mauritsen, Biometrics 44 (1988) 79–86; from
    memory; held against simulation in the tests).
    """
    y, rows = found.jobs.outcome, found.jobs.compared
    rows = rows.assign(quarter=rows["received_date"].dt.to_period("Q").astype(str))
    nuisance = len(found.people) + rows["quarter"].nunique() - 2
    budget = int(min(y.sum(), len(y) - y.sum())) // EVENTS_PER_DF + nuisance
    design = fit_design(rows, (PERSONAL, QUARTER, EARLIER, *EXPECTED), y, budget)
    if not design.has(EARLIER.label):
        return None
    x, columns = design.matrix(rows), _columns(design)
    fit = fit_firth(x, y, design.names, intervals=False).shown()
    term = next(term for term in design.terms if term.label == EARLIER.label)
    assert isinstance(term, FittedCurve)
    counted = rows[EARLIER.column].to_numpy(float)
    low, high = shared_range(counted, rows["technician_id"])
    if not low < high:
        return None
    grid = np.linspace(low, high, 61)
    p = term_test(x, y, columns, EARLIER.label).p
    base = found.offset + found.centre
    smallest = _smallest_rise(fit, term, columns, grid)
    first, last = (expit(base + smallest * (end - counted.mean()) / STEP).mean() for end in (low, high))
    return Learning(
        curve=chance_curve(fit, x, columns, term, counted, grid),
        p=p,
        verdict=verdict_of(p),
        n=len(y),
        smallest=smallest,
        smallest_ends=(float(first), float(last)),
    )
