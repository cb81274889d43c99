"""Technicians who do not differ are seldom marked, the truly best stands above, and the intervals hold."""

from __future__ import annotations

import pytest

from tests.studies.record import failing
from tests.studies.technicians import OWNED, findings, report, study


@pytest.mark.slow
def test_over_two_hundred_shops():
    frame = study(200)
    assert not failing(findings(frame))

    def of(kind: str, case: str, name: str) -> float:
        return float(frame.loc[frame["kind"].eq(kind) & frame["case"].eq(case), name].mean())

    assert of("the demo's workshop", "as planted", "best above") > of(
        "the demo's workshop", "as planted", "best first, raw"
    )


def test_one_shop_runs_through():
    frame = study(1)
    assert len(frame) == 12
    owned = frame.set_index("case").loc[list(OWNED), "people"]
    assert list(owned) == [4, 5, 3]
    assert "the demo's workshop, as planted (1 shops" in report(frame)
