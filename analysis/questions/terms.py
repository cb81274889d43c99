"""Which columns the models of the review may see, in the order of their claim on the budget.

The order is fixed before any result is seen: first what the page is about and what confounds it, last the board
family, which costs most.
"""

from __future__ import annotations

from analysis.models.terms import Category, Curve, Number, Term
from analysis.records.dictionary import BY_NAME


def _labels(table: str, column: str) -> dict[str, str]:
    return {choice.code: choice.text for choice in BY_NAME[table][column].choices}


# What decides a board's chance most, and so what is done to it: shrunk rather than left out of a small model.
DAMAGE = Category("intake_damage", "damage at intake", _labels("jobs", "intake_damage"), shrinks=True)
PRIOR = Category("prior_rework", "earlier rework", _labels("jobs", "prior_rework"), reference="none", shrinks=True)
UNDERFILL = Category("underfill", "underfill", _labels("jobs", "underfill"), reference="none", shrinks=True)
AGE = Number("device_age_years", "each year of device age", "years")
SECOND = Category("second_damage_seen", "second damage", {"yes": "seen", "no": "none seen"}, reference="no")
DEVICE = Category("device_class", "device", _labels("jobs", "device_class"), reference="phone")
FAMILY = Category("board_family", "board family", min_level=15)

PASSES = Number("clean_passes_per_side", "each cleaning pass a side", "passes")
GRADE = Number("pad_grade_found_worst", "each pad grade found worse", "grades")
PADS = Category("pads_lost_band", "pads lost", reference="none")
TEMPERATURE = Curve("install_set_temp_c", "install set temperature", "°C", df=3)
PREHEAT = Category("install_preheat", "preheat at install", {"1.0": "used", "0.0": "none noted"}, reference="0.0")
TRIES = Number("reball_tries_n", "each further reball try", "tries")
BLADE = Category("blade_used", "blade", {"1.0": "used", "0.0": "not used"}, reference="0.0")
ALLOY = Category("ball_alloy", "ball alloy", _labels("chip_sides", "ball_alloy"), reference="sn63pb37")
RESET = Category("ball_reset", "ball reset", {"1.0": "done", "0.0": "not done"}, reference="0.0")

DONOR_AGE = Number("donor_age_years", "each year of donor age", "years")
TESTED = Category("known_good", "donor test", _labels("donors", "known_good"), reference="full_boot")
INSTALLS = Number("prior_installs_n", "each earlier install on the donor", "installs")

# Expected model: intake facts only; never donor, lot, technician or guess, which are what is looked for.
EXPECTED: tuple[Term, ...] = (DAMAGE, PRIOR, UNDERFILL, AGE, SECOND, DEVICE, FAMILY)

# Bench description: intake and donor facts, and work before boot test 1 only.
DESCRIPTION: tuple[Term, ...] = (
    DAMAGE,
    PRIOR,
    UNDERFILL,
    AGE,
    PASSES,
    GRADE,
    PADS,
    TEMPERATURE,
    PREHEAT,
    DONOR_AGE,
    TESTED,
    INSTALLS,
    SECOND,
    DEVICE,
    TRIES,
    BLADE,
    ALLOY,
    RESET,
    FAMILY,
)

# Told on the page, one row a column; everything else is there to make the comparison fair.
TOLD: tuple[str, ...] = tuple(
    term.label for term in (PASSES, GRADE, PADS, PREHEAT, TRIES, BLADE, ALLOY, RESET, DONOR_AGE, TESTED, INSTALLS)
)

# Bench hours: passes take hours, so that only intake and donor facts may enter.
HOURS: tuple[Term, ...] = (DAMAGE, PRIOR, UNDERFILL, AGE, DONOR_AGE, TESTED, INSTALLS, SECOND, DEVICE)

# Attempts and landmark: heat, passes, pads and donor age as known before the test, with the strongest intake facts.
ATTEMPTS: tuple[Term, ...] = (
    Category("test_band", "boot test", {"1": "first", "2": "second", "3 or later": "third or later"}, reference="1"),
    DAMAGE,
    PRIOR,
    PASSES,
    PADS,
    TEMPERATURE,
    DONOR_AGE,
    UNDERFILL,
    AGE,
    GRADE,
    PREHEAT,
    TESTED,
    INSTALLS,
)
LANDMARK: tuple[Term, ...] = (
    PASSES,
    PADS,
    DONOR_AGE,
    Number("install_set_temp_c", "each 10 °C of install set temperature", "°C", per=10.0),
    PRIOR,
    DAMAGE,
)
