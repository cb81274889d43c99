"""Every engine that is checked from outside."""

from __future__ import annotations

from tests.reference.check import Check
from tests.reference.competing import checks as competing
from tests.reference.discrete_time import checks as discrete_time
from tests.reference.hashing import checks as hashing
from tests.reference.intervals import checks as intervals
from tests.reference.logistic import checks as logistic
from tests.reference.pooled import checks as pooled
from tests.reference.prediction import checks as prediction
from tests.reference.survival import checks as survival
from tests.reference.technicians import checks as technicians
from tests.reference.techniques import checks as techniques
from tests.reference.watching import checks as watching

ENGINES = (
    logistic,
    intervals,
    survival,
    competing,
    discrete_time,
    watching,
    pooled,
    prediction,
    hashing,
    techniques,
    technicians,
)


def run_all() -> list[Check]:
    """Every outside check."""
    return [check for engine in ENGINES for check in engine.run()]


def line(c: Check) -> str:
    """A check as a line of text."""
    verdict = "holds" if c.holds else "FAILS"
    first = f"{c.expected[0]:.8g} | {c.got[0]:.8g}"
    return f"{verdict} | {c.engine} | {c.source} | {c.quantity} | {first} | {c.agreed:.1f} digits | {c.status}"
