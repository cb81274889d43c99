"""The pooled model of very many rows is that of few: equal rows, points of the grid left out, codes laid out once."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.models import pooled
from analysis.models.class_rates import fit_class_rates
from analysis.models.optimism import optimism
from analysis.models.pooled import fit_pooled, pooled_fitter
from analysis.models.pooled_design import equal_rows, laid_out
from analysis.models.pooled_modes import log_mass
from analysis.models.terms import Category, Number
from analysis.questions.counter import optimism_draws

TERMS = (Category("damage", "damage"), Number("age", "age", "years"), Category("family", "family"))


def rows_of(n: int, rate: float = 0.0, rng_seed: int = 3) -> tuple[pd.DataFrame, np.ndarray]:
    """Jobs with eight families, blanks and a level seen once; ``rate`` moves the log odds."""
    rng = np.random.default_rng(rng_seed)
    frame = pd.DataFrame(
        {
            "damage": rng.choice(["drop", "liquid", "heat", None], n, p=[0.5, 0.3, 0.1, 0.1]),
            "age": np.where(rng.random(n) < 0.1, np.nan, rng.integers(0, 12, n) / 2),
            "family": rng.choice([f"F{k}" for k in range(8)], n),
        }
    )
    frame.loc[0, "damage"] = "bend_or_snap"
    log_odds = rate + frame["damage"].eq("drop") * 0.8 - 0.1 * frame["age"].fillna(2)
    return frame, (rng.random(n) < 1 / (1 + np.exp(-log_odds))).astype(float)


@pytest.mark.parametrize(("n", "rate"), [(300, 0.0), (300, -4.0), (6000, 0.0), (6000, -6.0), (6000, 6.0)])
def test_points_left_out_beforehand_have_no_mass_and_the_others_the_same_modes(monkeypatch, n, rate):
    """Bounds the way of many rows against the plain one, also where it is never used: few rows, a handful of events."""
    frame, y = rows_of(n, rate)
    monkeypatch.setattr(pooled, "MANY_ROWS", n + 1)
    plain = fit_pooled(frame, y, TERMS, "family")
    monkeypatch.setattr(pooled, "MANY_ROWS", n)
    fast = fit_pooled(frame, y, TERMS, "family")
    assert plain.converged
    assert fast.converged
    for name in ("sigma", "tau", "weight"):
        np.testing.assert_allclose(getattr(fast, name), getattr(plain, name), rtol=0, atol=1e-8)
    asked = frame.head(200)
    for name in ("mean", "low", "high"):
        np.testing.assert_allclose(
            getattr(fast.chances(asked), name), getattr(plain.chances(asked), name), rtol=0, atol=1e-8
        )


def test_what_is_left_out_beforehand_has_less_than_a_millionth_of_the_mass(monkeypatch):
    frame, y = rows_of(6000)
    masses = []
    monkeypatch.setattr(pooled, "log_mass", lambda *given: masses.append(log_mass(*given)) or masses[-1])
    for many in (10**9, 6000):
        monkeypatch.setattr(pooled, "MANY_ROWS", many)
        fit_pooled(frame, y, TERMS, "family")
    whole, some = (np.exp(each - each.max()) for each in masses)
    assert len(some) < len(whole) == 80
    assert 1 - some.sum() / whole.sum() < 1e-6


def test_a_year_of_a_bench_is_fitted_the_plain_way(monkeypatch):
    monkeypatch.setattr(pooled, "near", None)
    assert fit_pooled(*rows_of(2000), TERMS, "family").converged
    with pytest.raises(TypeError):
        fit_pooled(*rows_of(pooled.MANY_ROWS), TERMS, "family")


@given(st.lists(st.tuples(*[st.integers(-1, 2)] * 3), min_size=1, max_size=30), st.sampled_from([1, 2**40]))
@settings(max_examples=80, deadline=None)
def test_equal_rows_are_those_with_equal_codes(rows, scale):
    """Also where the codes together are more than an integer can number."""
    columns = [np.array(column, dtype=np.int64) for column in zip(*rows, strict=True)]
    first, kind = equal_rows([np.where(column > 0, column * scale, column) for column in columns])
    different = list(dict.fromkeys(rows))
    assert [rows[at] for at in first] == different
    assert [different[k] for k in kind] == rows


def test_rows_laid_out_make_the_same_fit_and_the_same_rates():
    frame, y = rows_of(400)
    out = laid_out(frame.assign(other=1), TERMS, "age")
    assert list(out) == ["damage", "age", "family"]
    half = out.iloc[200:]  # without the level of the first row, which stays among the codes
    plain, fast = (fit_pooled(rows, y[200:], TERMS, "family") for rows in (frame.iloc[200:], half))
    assert plain.design == fast.design
    np.testing.assert_array_equal(plain.location, fast.location)
    np.testing.assert_array_equal(plain.where_seen(frame), fast.where_seen(out))
    assert np.isnan(fast.where_seen(out)).sum() == 1
    families = (each["family"].iloc[200:] for each in (frame, out))
    assert len({str(fit_class_rates(each, y[200:])) for each in families}) == 1


def test_the_error_of_the_optimism_falls_with_the_root_of_the_jobs_so_that_fewer_samples_do():
    assert [optimism_draws(n) for n in (1, 600, 10_000, 20_000, 50_000, 10**6)] == [100, 100, 100, 50, 20, 20]
    fit = pooled_fitter(TERMS[:2], None)
    small, large = (optimism(*rows_of(n), fit, rng_seed=1, draws=60) for n in (500, 4500))
    np.testing.assert_array_less(large.error, small.error / 2)  # a third, but for chance
