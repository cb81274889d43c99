"""First boot by the number of jobs a technician had accepted before, as counted in this log.

Compared within each technician and each quarter of a year: everyone's earlier jobs grow with the calendar, so that
without the quarters a bad donor lot or a new station would pass for learning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.special import expit

from analysis.models.design import EVENTS_PER_DF, Design, fit_design
from analysis.models.effects import ChanceCurve, chance_curve
from analysis.models.firth import fit_firth, term_test
from analysis.models.penalised_many import maximise_many
from analysis.models.terms import NOT_RECORDED, Category, Curve, FittedCurve
from analysis.questions.technicians import Technicians
from analysis.questions.technicians_rows import PERSON
from analysis.questions.terms import EXPECTED
from analysis.questions.twin import Smallest, draw_outcomes, read_off, rng_of
from analysis.questions.verdicts import Verdict, verdict_of

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

PERSONAL = Category(PERSON, "technician", min_level=1)
EARLIER = Curve("experience_jobs", "earlier jobs", "jobs", df=2)
QUARTER = Category("quarter", "quarter of the year")
SHOPS, SEED, NEAR = 50, 64, 1e-3
SLOPES = (0.5, 1.0, 2.0, 4.0)  # log odds a hundred earlier jobs, planted in the twin
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
    smallest : Smallest
        Smallest steady rise for each hundred earlier jobs (log odds) that this log would have shown.
    smallest_points : float
        The same in percentage points over the first hundred jobs; infinite when no rise tried was found often enough.
    """

    curve: ChanceCurve
    p: float
    verdict: Verdict
    n: int
    smallest: Smallest
    smallest_points: float


def _columns(design: Design) -> tuple[int, ...]:
    return tuple(at for at in design.term_columns(EARLIER.label) if NOT_RECORDED not in design.names[at])


def learning(found: Technicians, shops: int = SHOPS) -> Learning | None:
    """The learning curve; None when the numbers of earlier jobs do not vary enough for one.

    Parameters
    ----------
    found : Technicians
    shops : int
        Simulated shops at each rise planted.
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
    ends = np.quantile(counted, [0.02, 0.98])
    grid = np.linspace(ends[0], ends[1], 61)
    p = term_test(x, y, columns, EARLIER.label).p
    base = found.offset + found.centre
    centred = (counted - counted.mean()) / STEP

    free = np.ones(x.shape[1], dtype=bool)
    held = np.where(np.isin(np.arange(x.shape[1]), columns), False, free)

    def finds(slope: float) -> Flags:
        drawn = np.array([draw_outcomes(base + slope * centred, rng_of(SEED, shop)) for shop in range(shops)])
        whole, without = (maximise_many(x, drawn, np.zeros(x.shape[1]), f, NEAR).loglik for f in (free, held))
        return np.asarray(stats.chi2.sf(2 * (whole - without), len(columns)) <= 0.05)

    smallest = read_off(SLOPES, [finds(slope) for slope in SLOPES])
    rise = expit(base + smallest.size).mean() - expit(base).mean() if np.isfinite(smallest.size) else np.inf
    return Learning(
        curve=chance_curve(fit, x, columns, term, counted, grid),
        p=p,
        verdict=verdict_of(p),
        n=len(y),
        smallest=smallest,
        smallest_points=float(100 * rise),
    )
