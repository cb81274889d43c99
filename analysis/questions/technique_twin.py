"""What this log could show of techniques and settings at all: twins of the shop with a planted difference.

The twin has the shop's own jobs, ways and mix; outcomes are drawn anew with a difference of known size planted, and the
page's comparison is made on them: the standardised difference with the page's own standard error, or the test of the
curve. "Found" means clear, after Holm's method where nothing else is found.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.optimize import brentq
from scipy.special import expit

from analysis.cohort.technique_rows import TechniqueRows
from analysis.models.design import fit_design
from analysis.models.overlap_weights import Arms, averaged, models_of, propensity, with_arm
from analysis.models.ridge_logit import WEAK_SD, fit_many, height, precision_of
from analysis.models.terms import NOT_RECORDED
from analysis.questions.dose import ADJUSTED, USUAL, Dose, curve_of, with_years
from analysis.questions.technique_design import Columns
from analysis.questions.techniques import Told, clear_from
from analysis.questions.twin import Smallest, draw_outcomes, smallest_found

Floats = NDArray[np.float64]

SHOPS = 100
LEVEL = 0.05
IN_ERRORS = (2.0, 3.0, 4.0, 5.0)  # differences planted, in standard errors of the page's estimate
IN_POINTS = (6.0, 10.0, 14.0, 18.0, 24.0)  # falls planted at both ends of what is usual, in percentage points
NEAR = 1e-3
CURVE_SD = 10.0  # of the curve's columns, in log odds a standard deviation: next to none
SEED = 64
FARTHEST = 0.02  # from 0 or 1, where no larger difference is planted


def _share_found(sizes: Sequence[float], found: NDArray[np.bool_]) -> Smallest | None:
    """Read the size off; ``found`` has shape (len(sizes), shops). None where under three sizes could be planted."""
    if len(sizes) < 3:
        return None
    each: dict[float, Iterator[bool]] = {size: iter(row.tolist()) for size, row in zip(sizes, found, strict=True)}
    # The shops were simulated together beforehand, which takes a hundredth of the time.
    return smallest_found(lambda size, _: next(each[size]), sizes, found.shape[1], SEED)


def _outcomes(log_odds: Floats, shops: int) -> Floats:
    """Outcomes of every twin, shape (shops, n); all sizes share the shops' random numbers."""
    return np.array([draw_outcomes(log_odds, np.random.default_rng((SEED, k))) for k in range(shops)])


def contrast_twin(
    told: Told, found: TechniqueRows, columns: Columns, compared: int, shops: int = SHOPS
) -> Smallest | None:
    """Smallest difference in percentage points that would have been clear in 80 of 100 such logs.

    Parameters
    ----------
    told : Told
        The contrast as answered.
    found : TechniqueRows
    columns : Columns
        One completed table.
    compared : int
        Contrasts answered, for Holm's method.
    shops : int
        Twins at each size.
    """
    arm = told.contrast.arm(found.rows)
    keep = ~np.isnan(arm)
    part = columns.part(keep, told.contrast.columns)
    x = part.x
    arms = Arms(found.rows["first_boot"].to_numpy(float)[keep], arm[keep], x, part.prior_sd)
    models = models_of(arms)
    e = propensity(arms, models)
    h = (e * (1 - e))[None, :]
    base = x @ models.outcome[:-1]
    start = float(averaged(h, expit(base)[None])[0])
    both, sd = with_arm(arms)
    least = clear_from(compared) * told.difference.se
    side = 1.0 if start < 0.5 else -1.0  # where there is more room
    sizes, clear = [], []
    for errors in IN_ERRORS:
        size = errors * told.difference.se
        wanted = start + side * size
        if not FARTHEST < wanted < 1 - FARTHEST:
            break
        step = brentq(lambda c, w=wanted: float(averaged(h, expit(base + c)[None])[0]) - w, -30, 30)
        y = _outcomes(base + step * arms.arm, shops)
        fits = fit_many(both, y, np.ones_like(y), sd, models.outcome, NEAR)
        without = fits[:, :-1] @ x.T
        gain = expit(without + fits[:, -1:]) - expit(without)
        sizes.append(100 * size)
        clear.append(side * averaged(np.broadcast_to(h, gain.shape), gain) > least)
    return _share_found(sizes, np.array(clear))


def dose_twin(dose: Dose, found: TechniqueRows, compared: int, shops: int = SHOPS) -> Smallest | None:
    """Smallest fall of the chance at both ends of what is usual that would have been clear in 80 of 100 such logs.

    A best setting is planted in the middle; the log odds fall with the square of the distance from it.

    Parameters
    ----------
    dose : Dose
        The setting as answered.
    found : TechniqueRows
    compared : int
        Settings answered.
    shops : int
    """
    rows = with_years(found.rows)
    rows = rows[rows[dose.setting.column].notna()].reset_index(drop=True)
    y = rows["first_boot"].to_numpy(float)
    curve = curve_of(dose.setting, rows)
    if curve is None:
        return None
    design = fit_design(rows, (curve, *ADJUSTED), y)
    x = design.matrix(rows)
    own = [at for at in design.term_columns(dose.setting.name) if NOT_RECORDED not in design.names[at]]
    rest = np.delete(x, own, axis=1)
    base = rest @ fit_many(rest, y, np.ones((1, len(y))))[0]
    values = rows[dose.setting.column].to_numpy(float)
    low, middle, high = np.quantile(values, USUAL)
    if not low < middle < high:
        return None
    least = float(stats.chi2.isf(LEVEL / compared, len(own)))
    away = ((values - middle) / ((high - low) / 2)) ** 2
    ends = [((end - middle) / ((high - low) / 2)) ** 2 for end in (low, high)]
    sizes, clear = [], []
    for points in IN_POINTS:
        depth = _depth(base, away.mean(), ends, points / 100)
        if depth is None:
            break
        drawn = _outcomes(base + depth * (away.mean() - away), shops)
        sizes.append(points)
        clear.append(_gain(x, own, drawn) > least)
    return _share_found(sizes, np.array(clear))


def _depth(base: Floats, usual: float, ends: Sequence[float], fall: float) -> float | None:
    """Log odds of the planted optimum that make the chance fall so far at the ends, on average of both.

    The level of all jobs together is kept: what is lost at the ends is gained in the middle.
    """

    def missing(depth: float) -> float:
        top = base + depth * usual
        return float(expit(top).mean() - np.mean([expit(top - depth * end).mean() for end in ends])) - fall

    return float(brentq(missing, 0, 4)) if missing(4.0) > 0 else None


def _gain(x: Floats, own: Sequence[int], y: Floats) -> Floats:
    """Twice the log likelihood that the curve's own columns add in every twin, shape (shops,).

    The curve's columns, small numbers, are brought to the size of the others and have next to no prior: just enough
    that a twin in which a rare setting always failed has a fit.
    """
    x = x / np.where(np.isin(np.arange(x.shape[1]), own), x.std(axis=0), 1.0)
    sd = np.full(x.shape[1], WEAK_SD)
    sd[list(own)] = CURVE_SD
    ones = np.ones_like(y)
    reached = []
    for kept in (np.arange(x.shape[1]), np.delete(np.arange(x.shape[1]), own)):
        beta = fit_many(x[:, kept], y, ones, sd[kept], None, NEAR)
        reached.append(height(beta, x[:, kept].T, y, ones, precision_of(sd[kept], len(kept))))
    return np.asarray(2 * (reached[0] - reached[1]))
