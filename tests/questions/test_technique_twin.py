"""What the log could have shown: more jobs show less, and the sizes told are found about as often as said."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analysis.cohort.features import build_cohort
from analysis.cohort.technique_rows import technique_rows
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.demo.truth import Truth
from analysis.questions.contrasts import DECLARED
from analysis.questions.dose import doses
from analysis.questions.technique_twin import contrast_twin, dose_twin
from analysis.questions.techniques import Effort, completed_columns, techniques
from analysis.questions.verdicts import Verdict
from analysis.records.log import Log

QUICK = Effort(copies=2, draws=60, complete_draws=20)
RESET = tuple(c for c in DECLARED if c.name == "ball_reset")


def found_of(jobs: int, seed: int = 3, truth: Truth | None = None):
    shop = dataclasses.replace(Shop(), jobs=jobs, presets=False, gaps=False)
    log = Log.from_tables(dict(simulate(shop, seed, truth).tables))
    return technique_rows(log, build_cohort(log))


def twin_of(found, compared: int = 1):
    told = techniques(found, RESET, effort=QUICK)[0]
    return told, contrast_twin(told, found, completed_columns(found.rows, RESET, QUICK)[0], compared, 100)


def test_more_jobs_show_smaller_differences_and_more_contrasts_take_larger_ones():
    small, large = found_of(250), found_of(1000)
    one, two = twin_of(small)[1], twin_of(large)[1]
    assert two.size < 0.65 * one.size
    assert twin_of(large, 8)[1].size > two.size
    assert list(two.found) == sorted(two.found)


def test_a_single_contrast_is_found_where_the_formula_puts_it():
    told, twin = twin_of(found_of(600))
    assert twin.size == pytest.approx(100 * told.detectable, rel=0.2)


def test_heat_of_more_jobs_shows_a_shallower_optimum():
    sizes = []
    for jobs in (350, 1200):
        found = found_of(jobs)
        sizes.append(dose_twin(doses(found)[0], found, 4, 100).size)
    assert sizes[1] < 0.75 * sizes[0]


@pytest.mark.slow
def test_an_optimum_of_the_size_told_is_found_about_as_often_as_told():
    """Planted by the simulator, not by the twin: the share of clear ones lies near the twin's own share."""
    truth = dataclasses.replace(Truth(), temperature_loss_at_25=0.6)
    clear, told = [], []
    for seed in range(40):
        found = found_of(650, 100 + seed, truth)
        dose = doses(found)[0]
        twin = dose_twin(dose, found, 4, 60)
        fall = np.mean([_planted_fall(found, truth, d) for d in dose.differences])
        told.append(np.interp(fall, twin.sizes, twin.found))
        clear.append(dose.verdict is Verdict.CLEAR)
    assert np.mean(clear) == pytest.approx(np.mean(told), abs=0.22)


def _planted_fall(found, truth: Truth, difference) -> float:
    """Points by which the planted optimum lowers the chance at one end, around the rate of the rows."""
    rate = found.rows["first_boot"].mean()
    shift = found.rows["install_dose_c"].median() - 331.0  # settings are moved to the middle of all stations

    def chance(setting: float) -> float:
        off = (setting - shift - truth.best_install_c) / 25
        return 1 / (1 + np.exp(-(np.log(rate / (1 - rate)) - truth.temperature_loss_at_25 * off**2)))

    return 100 * (chance(difference.against) - chance(difference.setting))
