"""What fits do fast says the same as the plain way: an ordinary fit, whether outcomes are split, pooled columns."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from analysis.models import column_pairs, logit, penalised, pooled
from analysis.models.binary import chances
from analysis.models.logit import fit_logit
from analysis.models.optimism import _area, _measured, optimism
from analysis.models.pooled import fit_pooled, pooled_fitter
from analysis.models.pooled_modes import problem_of
from analysis.models.scores import auc
from analysis.models.separation import separated_columns
from analysis.models.terms import NOT_RECORDED, Category, Number


def sample(n: int, rng_seed: int = 2):
    rng = np.random.default_rng(rng_seed)
    x = np.column_stack([np.ones(n), rng.random(n) < 0.2, rng.normal(size=(n, 3))])
    shift = rng.normal(0, 0.3, n)
    chance = 1 / (1 + np.exp(-(x @ [0.4, -1, 0.5, 0, 0.2] + shift)))
    return x, (rng.random(n) < chance).astype(float), shift, rng.integers(1, 5, n).astype(float)


@pytest.mark.parametrize(
    ("name", "link"), [("logit", sm.families.links.Logit()), ("cloglog", sm.families.links.CLogLog())]
)
@pytest.mark.parametrize("n", [60, 20_000])
def test_the_ordinary_fit_is_that_of_statsmodels(name, link, n):
    x, y, shift, trials = sample(n)
    own = fit_logit(x, y, tuple("abcde"), weights=trials, offset=shift, link=name)
    other = sm.GLM(y, x, family=sm.families.Binomial(link), freq_weights=trials, offset=shift).fit(
        tol=1e-14, maxiter=300
    )
    assert own.converged
    np.testing.assert_allclose(own.coefficients, other.params, atol=1e-8)
    np.testing.assert_allclose(own.deviance, other.deviance, rtol=1e-10)
    np.testing.assert_allclose(own.loglik, other.llf, rtol=1e-10)
    if name == "logit":  # for other links statsmodels' errors are those of one step before
        np.testing.assert_allclose(own.se, other.bse, atol=1e-8)


ROWS = st.lists(
    st.tuples(st.integers(-2, 2), st.integers(0, 1), st.sampled_from([0.0, 0.0, 1.0, 1.0, 0.5])),
    min_size=4,
    max_size=14,
)


@given(ROWS)
@settings(max_examples=300, deadline=None)
def test_the_fit_shows_an_overlap_only_where_the_linear_programme_finds_no_split(rows):
    x = np.column_stack([np.ones(len(rows)), [row[0] for row in rows], [row[1] for row in rows]]).astype(float)
    y = np.array([row[2] for row in rows])
    if np.linalg.matrix_rank(x) < 3:
        return
    likelihood = logit._Likelihood(x, y, np.ones(len(y)), np.zeros(len(y)), "logit")
    _, point, settled = logit._settle(likelihood)
    split = separated_columns(x, y, ("i", "a", "b"))
    if settled and logit._plainly_overlaps(likelihood, point):
        assert split == ()
    assert fit_logit(x, y, ("i", "a", "b")).separated == split


def test_an_overlap_is_seen_without_the_linear_programme(monkeypatch):
    monkeypatch.setattr(logit, "separated_columns", lambda *_: pytest.fail("asked"))
    x, y, _, _ = sample(3000)
    assert fit_logit(x, y, tuple("abcde")).converged


def frame_of(n: int) -> tuple[pd.DataFrame, np.ndarray]:
    rng = np.random.default_rng(4)
    frame = pd.DataFrame({"damage": rng.choice(["drop", "liquid", "heat", None], n), "age": rng.integers(0, 9, n) / 2})
    frame.loc[rng.random(n) < 0.1, "age"] = np.nan
    return frame, (rng.random(n) < np.where(frame["damage"].eq("drop"), 0.8, 0.5)).astype(float)


TERMS = [Category("damage", "damage"), Number("age", "age", "years")]


def test_pooled_columns_are_those_coded_row_by_row():
    frame, _ = frame_of(300)
    design = fit_pooled(frame, frame_of(300)[1], TERMS).design
    damage = design.terms[0]
    counts = frame["damage"].value_counts()
    assert damage.levels == (*sorted(counts.index, key=lambda k: (-counts[k], k)), NOT_RECORDED)
    assert damage.counts == (*(counts[k] for k in damage.levels[:-1]), frame["damage"].isna().sum())
    places = [len(damage.levels) - 1 if v is None else damage.levels.index(v) for v in frame["damage"]]
    assert damage.look(frame).tolist() == places
    assert damage.look(pd.DataFrame({"damage": ["fire", None]})).tolist() == [-1, len(damage.levels) - 1]
    np.testing.assert_allclose(
        design.centre, np.hstack([t.made(t.look(frame)).mean(axis=0) for t in design.terms]), atol=1e-15
    )


def test_the_spread_of_log_odds_is_the_quadratic_form_of_each_row():
    frame, y = frame_of(80)
    fit = fit_pooled(frame, y, TERMS)
    x = fit.design.matrix(frame)
    plain = np.sqrt(np.einsum("mi,gij,mj->gm", x, fit.covariance, x))
    np.testing.assert_allclose(fit.log_odds(frame)[1], plain, atol=1e-12)


@pytest.mark.parametrize("kept", [0, column_pairs.KEPT_CELLS])
def test_the_pooled_likelihood_by_blocks_is_that_of_all_rows_at_once(monkeypatch, kept):
    rng = np.random.default_rng(5)
    x = np.column_stack([np.ones(500), rng.random((500, 2)) < 0.3, rng.normal(size=(500, 2))]).astype(float)
    y, beta, precision = (rng.random(500) < 0.6).astype(float), rng.normal(size=(7, 5)), rng.random((7, 5)) + 0.1
    monkeypatch.setattr(column_pairs, "KEPT_CELLS", kept)
    monkeypatch.setattr("analysis.models.binary.BLOCK_CELLS", 1)
    point = problem_of(x, y, precision).at(beta)
    eta = beta @ x.T
    p = 1 / (1 + np.exp(-eta))
    value = eta @ y - np.logaddexp(0, eta).sum(axis=1) - 0.5 * (precision * beta**2).sum(axis=1)
    information = np.einsum("gm,mi,mj->gij", p * (1 - p), x, x) + precision[:, :, None] * np.eye(5)
    np.testing.assert_allclose(point.value, value, rtol=1e-12)
    np.testing.assert_allclose(point.slope, (y - p) @ x - precision * beta, atol=1e-11)
    np.testing.assert_allclose(point.information, information, rtol=1e-12, atol=1e-12)


def test_pooled_fit_and_chances_do_not_depend_on_the_size_of_blocks(monkeypatch):
    frame, y = frame_of(700)
    whole = fit_pooled(frame, y, TERMS, "damage")
    seen = whole.chances(frame)
    centre, spread = whole.log_odds(frame)
    nodes, mass = pooled.HERMITE
    inner = 1 / (1 + np.exp(-(centre[..., None] + spread[..., None] * nodes))) @ (mass / mass.sum())
    np.testing.assert_allclose(seen.mean, whole.weight @ inner, atol=1e-14)
    monkeypatch.setattr("analysis.models.binary.BLOCK_CELLS", 1)
    monkeypatch.setattr(column_pairs, "KEPT_CELLS", 0)
    cut = fit_pooled(frame, y, TERMS, "damage")
    np.testing.assert_allclose(cut.location, whole.location, atol=1e-10)
    np.testing.assert_allclose(cut.covariance, whole.covariance, atol=1e-10)
    for name in ("mean", "low", "high"):
        np.testing.assert_allclose(getattr(cut.chances(frame), name), getattr(seen, name), atol=1e-12)
    assert cut.chances(frame.iloc[:0]).mean.shape == cut.log_odds(frame.iloc[:0])[0][0].shape == (0,)


@given(st.lists(st.floats(-800, 800), min_size=1, max_size=5))
@settings(max_examples=60, deadline=None)
def test_chances_from_one_exponential_are_those_of_scipy(eta):
    p, log_sum = chances(np.array(eta))
    np.testing.assert_allclose(p, special.expit(eta), rtol=1e-14, atol=1e-300)
    np.testing.assert_allclose(log_sum, np.logaddexp(0, eta), rtol=1e-14)


def test_the_area_without_its_variance_is_that_of_the_scores():
    rng = np.random.default_rng(6)
    p = np.round(rng.random(400), 2)
    y = (rng.random(400) < p).astype(float)
    assert _area(p, y) == pytest.approx(auc(p, y).value, abs=1e-13)
    assert np.isnan(_area(p, np.ones(400)))


def test_optimism_is_that_of_predicting_every_drawn_row_anew():
    frame, y = frame_of(120)
    samples = [np.random.default_rng(seed).integers(0, 120, 120) for seed in range(5)]
    found = optimism(frame, y, pooled_fitter(TERMS, None), rng_seed=0, draws=samples)
    by_hand = []
    for at in samples:
        drawn = frame.iloc[at].reset_index(drop=True)
        predict = pooled_fitter(TERMS, None)(drawn, y[at])
        by_hand.append(_measured(predict(drawn), y[at]) - _measured(predict(frame), y))
    # Equal rows of a draw may differ in the last digit there, and the AUC then by the share of a pair or two.
    np.testing.assert_allclose(found.optimism[[0, 1, 3]], np.mean(by_hand, axis=0)[[0, 1, 3]], atol=1e-10)
    assert abs(found.optimism[2] - np.mean(by_hand, axis=0)[2]) < 1e-3


@pytest.mark.parametrize("few", [1, column_pairs.FEW])
def test_sums_and_forms_of_columns_are_the_same_with_and_without_products_made(monkeypatch, few):
    rng = np.random.default_rng(3)
    x, rows = rng.normal(size=(60, 5)), slice(10, 50)
    weights, matrices = rng.random((3, 40)), rng.normal(size=(3, 5, 5))
    matrices += matrices.transpose(0, 2, 1)
    monkeypatch.setattr(column_pairs, "KEPT_CELLS", 0)
    monkeypatch.setattr(column_pairs, "FEW", few)
    pairs = column_pairs.Pairs.of(x)
    some = x[rows]
    sums = column_pairs.symmetric(pairs.sums(weights, rows), 5)
    np.testing.assert_allclose(sums, np.einsum("bn,ni,nj->bij", weights, some, some), atol=1e-12)
    np.testing.assert_allclose(
        pairs.forms(matrices, rows), np.einsum("ni,bij,nj->bn", some, matrices, some), atol=1e-12
    )


@pytest.mark.parametrize("rare", [0.01, 0.3])
def test_ends_and_tests_of_a_penalised_fit_are_those_of_iterations_carried_on(rare):
    """Each end is where the likelihood, maximised over all else, has fallen by half the quantile."""
    rng = np.random.default_rng(4)
    x = np.column_stack([np.ones(400), rng.random((400, 3)) < rare, rng.normal(size=(400, 2))]).astype(float)
    y = (rng.random(400) < 0.8).astype(float)
    data, free = penalised.Data.of(x, y), np.ones((6, 6), dtype=bool)
    best, _ = penalised.maximise(data, np.zeros(6), free[0])
    np.fill_diagonal(free, val=False)
    for side in penalised.profile_interval(data, best, 0.95):
        held, settled = penalised.climb(data, np.where(free, best.beta, side), free)
        assert settled.all()
        np.testing.assert_allclose(2 * (best.loglik - held.loglik), stats.chi2.ppf(0.95, 1), atol=1e-8)
    zero, _ = penalised.climb(data, np.where(free, best.beta, 0.0), free)
    lost = penalised.lost_without(data, best, [[j] for j in range(6)])
    np.testing.assert_allclose(lost, 2 * (best.loglik - zero.loglik), atol=1e-11)
