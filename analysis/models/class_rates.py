"""The rate of each damage class, held together by all classes: what a bench says of a board without any model.

A plain share of a class of eight jobs is mostly chance. The classes are therefore pooled as the effects of
:mod:`analysis.models.pooled` are, with the class as the only fact: the less the classes differ beyond chance and the
fewer jobs a class has, the closer its rate stays to the bench's own. In simulation (``tests.studies.intake``) plain
class shares told less than no class at all up to 300 jobs, and a model judged against them was believed too soon.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analysis.models.pooled import LEVEL, fit_pooled
from analysis.models.pooled_design import coded
from analysis.models.terms import Category

CLASS = "class"


@dataclass(frozen=True)
class ClassRates:
    """Successes of n by class, and the pooled chance of each.

    Parameters
    ----------
    plain : float
        ``(successes + 1/2) / (jobs + 1)`` over all classes.
    won, n : dict of str to int
        By class, as counted.
    chances : dict of str to (mean, low, high)
        Posterior mean of each class's chance and the ends of its central 80 % interval.
    """

    plain: float
    won: dict[str, int]
    n: dict[str, int]
    chances: dict[str, tuple[float, float, float]]

    def chance(self, code: str) -> tuple[float, float, float]:
        """Chance of a class that was seen, with the ends of its central 80 % interval.

        Raises
        ------
        KeyError
            If the class was never seen.
        """
        return self.chances[code]

    def means(self, codes: pd.Series) -> pd.Series:
        """Chance of each row's class; the plain rate where its class was never seen."""
        means = {code: mean for code, (mean, _, _) in self.chances.items()}
        return codes.astype(object).astype(str).map(means).astype(float).fillna(self.plain)


def fit_class_rates(classes: pd.Series, outcome: ArrayLike) -> ClassRates:
    """Count and pool.

    Parameters
    ----------
    classes : Series, shape (n,)
        Class of each job, none blank.
    outcome : array_like, shape (n,)
        0/1.

    Raises
    ------
    ModelError
        If there are no jobs.
    """
    y = np.asarray(outcome, dtype=float)
    of_class = classes.array if isinstance(classes.dtype, pd.CategoricalDtype) else classes.astype(object).astype(str)
    frame = pd.DataFrame({CLASS: of_class}, copy=False)
    at, levels = coded(frame[CLASS])
    n, won = np.bincount(at, minlength=len(levels)), np.bincount(at, y, minlength=len(levels))
    counted = {str(levels[code]): (int(n[code]), int(won[code])) for code in np.flatnonzero(n).tolist()}
    codes = sorted(counted)
    found = fit_pooled(frame, y, (Category(CLASS, CLASS),)).chances(pd.DataFrame({CLASS: codes}), LEVEL)
    # A very skew posterior can have its mean beyond the central interval.
    ends = zip(found.mean, np.minimum(found.low, found.mean), np.maximum(found.high, found.mean), strict=True)
    return ClassRates(
        plain=(float(y.sum()) + 0.5) / (len(y) + 1),
        won={code: counted[code][1] for code in codes},
        n={code: counted[code][0] for code in codes},
        chances={code: (float(m), float(a), float(b)) for code, (m, a, b) in zip(codes, ends, strict=True)},
    )
