"""An iteration that does not reach its end says so and is never shown; rows that do not match are refused."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from analysis.cohort.attempts import LOST
from analysis.errors import ModelError, UnconvergedError
from analysis.models import cox, damage_counts, logit, penalised, pooled, pooled_modes, ridge_logit, scores
from analysis.models.attempts import life_table
from analysis.models.control_chart import p_chart
from analysis.models.firth import fit_firth
from analysis.models.optimism import _measured
from analysis.models.resampled_limits import mean_limits
from analysis.models.terms import Number
from analysis.models.timed import timed
from analysis.models.within_group import WithinRows, fit_case_mix

X = np.column_stack([np.ones(8), [0, 1, 2, 3, 4, 5, 6, 7.0]])
Y = np.array([0, 1, 0, 0, 1, 0, 1, 1.0])
TIMES = timed([3, 1, 4, 1, 5, 9, 2, 6], Y)


def test_a_logistic_fit_cut_short_is_not_shown(monkeypatch):
    assert logit.fit_logit(X, Y, ("i", "x")).converged
    monkeypatch.setattr(logit, "MAX_ITERATIONS", 1)
    cut = logit.fit_logit(X, Y, ("i", "x"))
    assert (cut.converged, cut.reason) == (False, "the iteration did not settle")
    with pytest.raises(UnconvergedError, match="the iteration did not settle"):
        cut.shown()


def test_a_penalised_fit_cut_short_is_not_shown(monkeypatch):
    whole = fit_firth(X, Y, ("i", "x"))
    assert (whole.converged, whole.reason) == (True, "")
    monkeypatch.setattr(penalised, "MAX_ITERATIONS", 1)
    cut = fit_firth(X, Y, ("i", "x"))
    assert not cut.converged
    assert cut.reason == "the iteration did not settle; look for a column that is nearly constant"


def test_a_cox_fit_cut_short_is_not_shown(monkeypatch):
    assert cox.fit_cox(X[:, 1:], TIMES, ("x",)).converged
    monkeypatch.setattr(cox, "MAX_ITERATIONS", 1)
    cut = cox.fit_cox(X[:, 1:], TIMES, ("x",))
    assert (cut.converged, cut.reason) == (False, "the iteration did not settle")
    with pytest.raises(UnconvergedError, match="the iteration did not settle"):
        cut.shown()


def test_a_pooled_fit_cut_short_is_not_shown(monkeypatch):
    rows = pd.DataFrame({"age": X[:, 1], "family": ["A", "B"] * 4})
    assert pooled.fit_pooled(rows, Y, (Number("age", "age", "years"),), "").converged
    monkeypatch.setattr(pooled_modes, "NEWTON_STEPS", 1)
    cut = pooled.fit_pooled(rows, Y, (Number("age", "age", "years"),), "")
    assert not cut.converged
    with pytest.raises(UnconvergedError):
        cut.chances(rows)


def test_ridge_fits_cut_short_are_no_numbers(monkeypatch):
    assert np.isfinite(ridge_logit.fit_many(X, Y, np.ones((1, 8)), 2.5)).all()
    monkeypatch.setattr(ridge_logit, "MAX_ITERATIONS", 1)
    with pytest.raises(UnconvergedError, match="A logistic fit on 8 rows did not settle"):
        ridge_logit.fit_many(X, Y, np.ones((1, 8)), 2.5)


def test_a_recalibration_cut_short_is_no_number(monkeypatch):
    chances = np.array([0.2, 0.3, 0.4, 0.4, 0.5, 0.6, 0.7, 0.8])
    assert scores.recalibration(chances, Y)[2]
    monkeypatch.setattr(scores, "NEWTON_STEPS", 1)
    coefficients, covariance, settled = scores.recalibration(chances, Y)
    assert not settled
    assert np.isnan(coefficients).all()
    assert np.isnan(covariance).all()


def test_a_resample_whose_every_row_the_model_refuses_measures_nothing():
    assert np.isnan(_measured(np.full(3, np.nan), Y[:3])).all()


def test_a_boot_test_that_nobody_reached_has_no_row():
    """Tests 1 and 3 only: a record of test 2 is missing, and no rate is made of no tries."""
    rows = life_table([1, 1, 3], [1, 0, 1], ["", LOST, ""])
    assert [(row.test_no, row.tried, row.chance.x) for row in rows] == [(1, 2, 1), (3, 1, 1)]


def short(fit: Callable[..., object], *columns: np.ndarray) -> Callable[[], object]:
    """A fit to a design of one row less than there are outcomes."""
    return lambda: fit(X[:7], *columns)


MIX = WithinRows(X, np.array([False, True]), np.array(["A"] * 8, dtype=object), np.ones(8, dtype=bool))


@pytest.mark.parametrize(
    ("fit", "told"),
    [
        (short(logit.fit_logit, Y, ("i", "x")), "The rows of the design and of the outcomes do not match."),
        (lambda: logit.fit_logit(X, Y, ("i",)), "The rows of the design and of the outcomes do not match."),
        (lambda: fit_firth(X, Y[:7], ("i", "x")), "The rows of the design and of the outcomes do not match."),
        (lambda: cox.fit_cox(X[:7], TIMES, ("i", "x")), "The rows of the design and of the times do not match."),
        (lambda: cox.fit_cox(X, TIMES, ("x",)), "The rows of the design and of the times do not match."),
        (
            lambda: damage_counts.fit_counts(X[:2], Y[:2], ("i", "x"), np.arange(2)),
            "The rows of the design and of the counts do not match, or are too few.",
        ),
        (
            lambda: damage_counts.fit_counts(X * math.nan, Y, ("i", "x"), np.arange(8)),
            "A value is missing or infinite; blanks must be coded before the fit.",
        ),
        (lambda: fit_case_mix(MIX, Y[:7]), "Every row needs one outcome, 0 or 1."),
        (lambda: fit_case_mix(MIX, Y / 2), "Every row needs one outcome, 0 or 1."),
        (lambda: p_chart([1, 0], [2, 0]), "Every period of a chart needs a count and at least one job."),
        (
            lambda: mean_limits(np.array([]), 5, 0.01, 1, 2000),
            "Limits need earlier jobs with a value, and at least one job.",
        ),
        (
            lambda: mean_limits(np.array([1.0, 2]), 5, 0.01, 1, 999),
            "999 simulated months are too few for a false-alarm rate of 0.01.",
        ),
    ],
)
def test_what_does_not_belong_together_is_refused_in_words(fit, told):
    with pytest.raises(ModelError) as stop:
        fit()
    assert stop.value.found == told
