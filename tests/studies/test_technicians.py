"""Technicians who do not differ are seldom marked, the truly best stands above, and the intervals hold."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.questions.technicians_twin import CLEAR_RATE, LEANING_RATE
from tests.studies.technicians import KINDS, report, study


@pytest.mark.slow
def test_over_two_hundred_shops():
    frame = study(200)

    def of(kind: str, case: str, name: str) -> float:
        return float(frame.loc[frame["kind"].eq(kind) & frame["case"].eq(case), name].mean())

    for kind in KINDS:
        for name, stated in (("anyone clear", CLEAR_RATE), ("anyone leaning or clear", LEANING_RATE)):
            assert of(kind, "nobody differs", name) <= stated + 3 * np.sqrt(stated * (1 - stated) / 200)
        assert of(kind, "drawn from the prior", "best above") > 0.5 + 3 * np.sqrt(0.25 / 200)
    for kind in ("forty each", "demo's size, no blanks"):  # blanks leave part of the mix in the comparison
        assert 0.93 <= of(kind, "drawn from the prior", "inside 95 %") <= 0.97
    assert of("the demo's workshop", "as planted", "best above") > of(
        "the demo's workshop", "as planted", "best first, raw"
    )


def test_one_shop_runs_through():
    frame = study(1)
    assert len(frame) == 9
    assert "the demo's workshop, as planted (1 shops" in report(frame)
