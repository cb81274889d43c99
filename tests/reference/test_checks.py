"""Every outside check holds to the digits it names."""

from __future__ import annotations

import pytest

from tests.reference.check import Check
from tests.reference.engines import ENGINES


@pytest.mark.parametrize("engine", ENGINES, ids=lambda engine: engine.__name__.split(".")[-2])
def test_every_outside_check_holds(engine):
    checks = engine.run()
    assert checks
    failing = [f"{c.source}: {c.quantity}: expected {c.expected}, got {c.got}" for c in checks if not c.holds]
    assert not failing, "\n".join(failing)


def test_a_wrong_number_fails_its_check():
    good = Check("engine", "source", "quantity", "status", (1.0, 2.0), (1.0, 2.0))
    assert good.holds
    assert not Check("engine", "source", "quantity", "status", (1.0, 2.0), (1.0, 2.00001)).holds
    assert not Check("engine", "source", "quantity", "status", (1.0, 2.0), (1.0,)).holds
    assert not Check("engine", "source", "quantity", "status", (1.0,), (float("nan"),)).holds
