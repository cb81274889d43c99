"""The comparison of techniques against planted truth, a few shops in every run and two hundred in the slow suite."""

from __future__ import annotations

import pytest

from analysis.questions.verdicts import Verdict
from tests.studies.record import failing
from tests.studies.technique_kinds import KINDS
from tests.studies.techniques import PLANTED, findings, study, told


def test_a_few_shops_run_through():
    table = study(2, 500)
    assert set(PLANTED) <= set(table["what"])
    assert table.loc[table["what"].eq("ball_alloy"), "truth"].eq(0).all()
    assert table.loc[table["what"].eq("preheat"), "truth"].between(0.1, 0.16).all()
    assert set(KINDS) <= set(table["what"])
    assert "arm of 14 jobs" in told(table)
    assert "shops in which any contrast without effect is called clear" in told(table)


@pytest.mark.slow
def test_what_is_planted_is_found_and_what_is_not_is_seldom_claimed():
    table = study(200)
    assert not failing(findings(table))
    table = table[table["answered"].astype(bool)]
    clear = table["verdict"].eq(Verdict.CLEAR).groupby(table["what"]).mean()
    plain = table[table["what"].eq("ball_alloy")]["plain"].astype(float).mean()
    assert plain > 3 * max(clear["ball_alloy"], 0.02)
