"""The contrasts that are asked of every log, declared before any result is seen, and a shop's own.

What to adjust for follows one rule: causes of the choice and of the outcome that were there before the technique was
used. Never what comes after it: pads lost or a pad grade left may be the way in which the technique acts.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.cohort.features import FEATURE_SOURCES
from analysis.cohort.technique_rows import HOT_SHORT, LOW_LONG
from analysis.errors import SettingsError
from analysis.records.settings import FILE

Flags = NDArray[np.bool_]

BOARD = (
    "intake_damage",
    "second_damage_seen",
    "prior_rework",
    "underfill",
    "device_age_years",
    "device_class",
    "board_family",
)
WHO_WHEN = ("technician_id", "quarter")
GRADE = ("pad_grade_found_worst",)
SIDE_GRADE = ("processor_lower_grade",)
DONOR = ("donor_age_years", "known_good", "prior_installs_n")

BOARD_WHY = "bad boards are treated otherwise and fail more often"
WHO_WHEN_WHY = "people differ in habits and skill, and both change with time"
GRADE_WHY = "the worse the pads are found, the more is done to them, and the more often they fail"
DONOR_WHY = "a better donor succeeds more often, whatever is done"


@dataclass(frozen=True)
class Rule:
    """Which rows of a column are meant: certain texts, or numbers up to or above a limit."""

    texts: tuple[str, ...] = ()
    at_most: float = np.inf
    above: float = -np.inf

    def rows(self, values: pd.Series) -> Flags:
        """Rows the rule takes, shape (n,); a blank is never taken."""
        if self.texts:
            return values.isin(self.texts).to_numpy(bool)
        number = values.to_numpy(float, na_value=np.nan)
        return np.asarray((number > self.above) & (number <= self.at_most))


@dataclass(frozen=True)
class Contrast:
    """A declared comparison of two ways of working.

    Parameters
    ----------
    name : str
        Short code.
    question : str
        What is asked, in a few words.
    column : str
        Column of the rows that holds the arms.
    with_it, without : Rule
        Rows of either arm; other rows are left out and counted.
    arms : tuple of str
        Plain names of the two arms.
    adjust : mapping of str to tuple of str
        Why, and the columns adjusted for because of it.
    can_be_drawn : bool
        Whether it may be decided by lot at the bench.
    exploratory : bool
        Added by the shop, not declared beforehand.
    """

    name: str
    question: str
    column: str
    with_it: Rule
    without: Rule
    arms: tuple[str, str]
    adjust: Mapping[str, tuple[str, ...]] = field(hash=False)
    can_be_drawn: bool = True
    exploratory: bool = False

    @property
    def of_donor(self) -> bool:
        """Whether donors are compared, which takes no work on the board: neither in the arms nor to adjust for."""
        return self.column in DONOR

    @property
    def columns(self) -> tuple[str, ...]:
        """Every column adjusted for."""
        return tuple(dict.fromkeys(name for names in self.adjust.values() for name in names))

    def arm(self, rows: pd.DataFrame) -> NDArray[np.float64]:
        """1 with the technique, 0 without, NaN where it is neither or not recorded; shape (n,)."""
        yes, no = self.with_it.rows(rows[self.column]), self.without.rows(rows[self.column])
        return np.where(yes & ~no, 1.0, np.where(no & ~yes, 0.0, np.nan))


_ALWAYS = {BOARD_WHY: BOARD, WHO_WHEN_WHY: WHO_WHEN}
AT_BENCH = {**_ALWAYS, GRADE_WHY: GRADE, DONOR_WHY: DONOR}
# What comes after a donor fact, and may be the way in which it acts: an old donor has been installed on more often, and
# one installed on before is less often seen to boot.
AFTER = {"donor_age_years": ("prior_installs_n", "known_good"), "prior_installs_n": ("known_good",), "known_good": ()}
_YES, _NO = Rule(above=0.5), Rule(at_most=0.5)


def _of_donor(column: str) -> dict[str, tuple[str, ...]]:
    """What to adjust a donor fact for: never what comes after it."""
    return {**_ALWAYS, DONOR_WHY: tuple(name for name in DONOR if name != column and name not in AFTER[column])}


def _at_bench(column: str) -> dict[str, tuple[str, ...]]:
    """What to adjust a way of working for."""
    grades = (*GRADE, *SIDE_GRADE) if column.startswith("processor_lower_") else GRADE
    return {**_ALWAYS, GRADE_WHY: grades, DONOR_WHY: DONOR}


DECLARED: tuple[Contrast, ...] = (
    Contrast(
        "hot_short",
        "Install hot and short against low and long",
        "install_style",
        Rule((HOT_SHORT,)),
        Rule((LOW_LONG,)),
        (HOT_SHORT, LOW_LONG),
        AT_BENCH,
    ),
    Contrast("preheat", "Preheat at install", "install_preheat", _YES, _NO, ("preheat", "none"), AT_BENCH),
    Contrast(
        "one_pass",
        "One cleaning pass on the processor's lower side against several",
        "processor_lower_passes",
        Rule(at_most=1, above=0),
        Rule(above=1),
        ("one pass", "several"),
        _at_bench("processor_lower_passes"),
    ),
    Contrast(
        "blade",
        "Blade on oxidised pads",
        "blade_on_oxidised",
        _YES,
        _NO,
        ("blade", "no blade"),
        AT_BENCH,
        can_be_drawn=False,
    ),
    Contrast("ball_reset", "Ball reset", "ball_reset", _YES, _NO, ("ball reset", "none"), AT_BENCH),
    Contrast(
        "ball_alloy",
        "Lead-free balls against leaded",
        "ball_alloy",
        Rule(("sac305",)),
        Rule(("sn63pb37",)),
        ("lead-free (SAC305)", "leaded (Sn63Pb37)"),
        AT_BENCH,
    ),
    Contrast(
        "donor_tested",
        "Donor seen to boot before use",
        "known_good",
        Rule(("full_boot",)),
        Rule(("current_only", "untested")),
        ("seen to boot", "not"),
        _of_donor("known_good"),
        can_be_drawn=False,
    ),
    Contrast(
        "heat_cycles",
        "Donor with earlier installs (heat cycles)",
        "prior_installs_n",
        _YES,
        _NO,
        ("installed on before", "fresh"),
        _of_donor("prior_installs_n"),
        can_be_drawn=False,
    ),
)

# Columns a shop may split at a limit of its own; every one is work before boot test 1 or a donor fact.
NUMBERS = (
    "clean_passes_per_side",
    "processor_lower_passes",
    "reball_tries_n",
    "install_dose_c",
    "install_dose_s",
    "reball_dose_c",
    "reball_dose_s",
    "melts_n",
    "donor_age_years",
    "prior_installs_n",
)
TEXTS = ("ball_alloy", "known_good")
_FORM = re.compile(r"^\s*(?P<what>[^:]+):\s*(?P<column>\w+)\s*(?P<rest><=.*|is .*)$")
_EXAMPLE = 'Write for example "few passes: clean_passes_per_side <= 3" or "other balls: ball_alloy is sac305".'


def _refused(text: str, rule: str) -> SettingsError:
    return SettingsError(f"extra_contrasts holds '{text}'", rule=rule, todo=_EXAMPLE, where=FILE)


def own_contrast(text: str) -> Contrast:
    """Read a contrast that a shop declares in bench.toml; it is marked exploratory.

    Parameters
    ----------
    text : str
        ``name: column <= number`` (up to the number against above it) or ``name: column is code``.

    Raises
    ------
    SettingsError
        If it cannot be read, names another column, or has no number that a job could have.
    """
    found = _FORM.match(text)
    if found is None:
        raise _refused(text, "A contrast of your own has a name, a colon, a column and a rule.")
    what, column, rest = found["what"].strip(), found["column"], found["rest"].strip()
    numeric = rest.startswith("<=")
    allowed = NUMBERS if numeric else TEXTS
    if column not in allowed:
        raise _refused(text, f"With '{'<=' if numeric else 'is'}' the column is one of {', '.join(allowed)}.")
    adjust = _of_donor(column) if column in AFTER else _at_bench(column)
    if not numeric:
        code = rest.removeprefix("is ").strip()
        others = Rule(tuple(other for other in _codes(column) if other != code))
        if code not in _codes(column):
            raise _refused(text, f"{column} is one of {', '.join(_codes(column))}.")
        return Contrast(f"own: {what}", what, column, Rule((code,)), others, (code, "other"), adjust, exploratory=True)
    limit = _number(rest.removeprefix("<="))
    if not math.isfinite(limit):
        raise _refused(text, "After '<=' stands a number with a decimal point.")
    arms = (f"up to {limit:g}", f"over {limit:g}")
    return Contrast(
        f"own: {what}", what, column, Rule(at_most=limit), Rule(above=limit), arms, adjust, exploratory=True
    )


def _number(text: str) -> float:
    """A number, or NaN."""
    try:
        return float(text)
    except ValueError:
        return math.nan


def _codes(column: str) -> tuple[str, ...]:
    from analysis.records.dictionary import BY_NAME

    table, name = FEATURE_SOURCES[column][0]
    return BY_NAME[table][name].codes


def contrasts_for(extra: tuple[str, ...]) -> tuple[Contrast, ...]:
    """Return the declared contrasts and the shop's own, in this order.

    Raises
    ------
    SettingsError
        If one of the shop's own cannot be read, or is called like another contrast.
    """
    taken = {name.casefold() for each in DECLARED for name in (each.name, each.question)}
    own = []
    for text in extra:
        contrast = own_contrast(text)
        if contrast.question.casefold() in taken:
            raise _refused(text, f"'{contrast.question}' is the name of another contrast; each has a name of its own.")
        taken.add(contrast.question.casefold())
        own.append(contrast)
    return (*DECLARED, *own)
