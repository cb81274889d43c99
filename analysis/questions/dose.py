"""Set temperature and time of install and reball: how the chance of first boot goes with them, if at all."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.cohort.ledger import Ledger
from analysis.cohort.technique_rows import TechniqueRows
from analysis.cohort.work import HOW_UNKNOWN, PRESET
from analysis.models.design import Design, LeftOut, TooFew, fit_design, too_few
from analysis.models.dose_response import SettingDifference, setting_difference
from analysis.models.effects import ChanceCurve, chance_curve
from analysis.models.firth import FirthResult, TermTest, fit_firth, term_test
from analysis.models.terms import NOT_RECORDED, Curve, FittedCurve, Number, Term
from analysis.questions import terms
from analysis.questions.description import holm
from analysis.questions.technique_design import TECHNICIAN
from analysis.questions.technique_groups import short_of
from analysis.questions.verdicts import Verdict, at_most_leaning, verdict_of
from analysis.records.problems import plural

Floats = NDArray[np.float64]

LEAST_TYPED = 30  # settings below which a curve would follow single jobs (common practice, no source)
LEAST_VALUES, VALUES_FOR_BENDS = 3, 6  # different settings for a curve, and for one of three columns (no source)
USUAL = (0.1, 0.5, 0.9)  # the settings compared: eight of ten jobs lie between the outer two
SHOWN = (0.02, 0.98)
YEARS = Number("years_in", "each year of the log", "years")
# In the order of their claim on the budget; the curve comes first.
ADJUSTED: tuple[Term, ...] = (
    terms.DAMAGE,
    TECHNICIAN,
    YEARS,
    terms.PRIOR,
    terms.GRADE,
    terms.UNDERFILL,
    terms.AGE,
    terms.DONOR_AGE,
    terms.TESTED,
    terms.INSTALLS,
    terms.SECOND,
    terms.DEVICE,
    terms.FAMILY,
)


@dataclass(frozen=True)
class Setting:
    """A setting that is looked at.

    Parameters
    ----------
    step, what : str
        "install" or "reball"; "temperature" or "time".
    column, entry : str
        Column of the typed settings, and of how they were entered.
    unit : str
    """

    step: str
    what: str
    column: str
    entry: str
    unit: str

    @property
    def name(self) -> str:
        """Plain name: "install set temperature"."""
        return f"{self.step} {'set ' if self.what == 'temperature' else ''}{self.what}"


SETTINGS: tuple[Setting, ...] = tuple(
    Setting(step, what, f"{step}_dose_{code}", f"{step}_entry", unit)
    for step in ("install", "reball")
    for what, code, unit in (("temperature", "c", "°C"), ("time", "s", "s"))
)


@dataclass(frozen=True)
class Counted:
    """How the setting of the jobs' last such step was entered.

    Parameters
    ----------
    used, presets, unknown, blank : int
        Jobs whose setting is used; left out with an unchanged preset, which says nothing of what was set; left out
        since it does not say how it was entered; without a record.
    how_unknown : bool
        Whether the settings used do not say how they were entered: an effect of them is never clear.
    """

    used: int
    presets: int
    unknown: int
    blank: int
    how_unknown: bool


@dataclass(frozen=True)
class Dose:
    """What the log says of one setting.

    Parameters
    ----------
    setting : Setting
    counted : Counted
    curve : ChanceCurve
        Chance of first boot over the setting, with its band and the settings recorded.
    test : TermTest
        Whether the setting matters at all.
    adjusted_p : float
        By Holm's method over the settings looked at.
    verdict : Verdict
    differences : tuple of SettingDifference
        The low and the high end of what is usual against the middle.
    fit : FirthResult
    left_out : tuple of LeftOut
        What there was no room to adjust for.
    ledger : Ledger
    """

    setting: Setting
    counted: Counted
    curve: ChanceCurve
    test: TermTest
    adjusted_p: float
    verdict: Verdict
    differences: tuple[SettingDifference, ...]
    fit: FirthResult
    left_out: tuple[LeftOut, ...]
    ledger: Ledger

    @property
    def people_unadjusted(self) -> bool:
        """Whether there was no room to adjust for who did the job: an effect is then never clear."""
        return any(item.label == TECHNICIAN.label and "too few" in item.why for item in self.left_out)


@dataclass(frozen=True)
class NoDose:
    """A setting of which nothing can be said, and why."""

    setting: Setting
    counted: Counted
    why: str
    few: TooFew | None = None


def doses(found: TechniqueRows, log_hash: str = "") -> tuple[Dose | NoDose, ...]:
    """Look at every setting; verdicts are adjusted for all that could be looked at.

    Parameters
    ----------
    found : TechniqueRows
    log_hash : str
    """
    if found.undatable is not None:
        nothing, why = Counted(0, 0, 0, len(found.rows), False), found.undatable.why
        return tuple(NoDose(setting, nothing, why) for setting in SETTINGS)
    rows = with_years(found.rows)
    made = [_dose(replace(found, rows=rows), setting, log_hash) for setting in SETTINGS]
    told = [each for each in made if isinstance(each, Dose)]
    adjusted = iter(holm(np.array([each.test.p for each in told])).tolist())
    out: list[Dose | NoDose] = []
    for each in made:
        if isinstance(each, Dose):
            p = float(next(adjusted))
            verdict = verdict_of(p)
            if each.counted.how_unknown or each.people_unadjusted:
                verdict = at_most_leaning(verdict)
            each = replace(each, adjusted_p=p, verdict=verdict)
        out.append(each)
    return tuple(out)


def with_years(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows with ``years_in``, years since the first of them was received."""
    start = rows["received_date"].min()
    return rows.assign(years_in=(rows["received_date"] - start).dt.days.astype(float) / 365.25)


def curve_of(setting: Setting, rows: pd.DataFrame) -> Curve | None:
    """The curve of a setting: flatter where few different values were set, as on a dial in steps of ten."""
    different = rows[setting.column].nunique()
    if different < LEAST_VALUES:
        return None
    return Curve(setting.column, setting.name, setting.unit, df=3 if different >= VALUES_FOR_BENDS else 2)


def _dose(found: TechniqueRows, setting: Setting, log_hash: str) -> Dose | NoDose:
    entry, value = found.rows[setting.entry], found.rows[setting.column]
    used, unknown = value.notna().to_numpy(bool), entry.eq(HOW_UNKNOWN).to_numpy(bool)
    presets, out = int((entry.eq(PRESET) & ~used).sum()), int((unknown & ~used).sum())
    blank = int((~used).sum()) - presets - out
    counted = Counted(int(used.sum()), presets, out, blank, bool((unknown & used).any()))
    if counted.used < LEAST_TYPED:
        had = f"only {plural(counted.used, 'typed setting')}" if counted.used else "no typed setting"
        return NoDose(setting, counted, f"{had} {short_of(counted.used, LEAST_TYPED)}")
    rows = found.rows[used].reset_index(drop=True)
    y = rows["first_boot"].to_numpy(float)
    if few := too_few(y):
        return NoDose(setting, counted, "", few)
    curve = curve_of(setting, rows)
    if curve is None:
        return NoDose(setting, counted, f"fewer than {LEAST_VALUES} different settings were used")
    design = fit_design(rows, (curve, *ADJUSTED), y)
    if not design.has(setting.name):
        return NoDose(setting, counted, "the setting hardly varied, or the jobs are too few for a curve")
    no_room = [item.label for item in design.left_out if "too few" in item.why]
    if terms.DAMAGE.label in no_room:
        rarer = "failures" if y.mean() > 0.5 else "first boots"
        why = f"too few {rarer} to compare boards with the same damage, and the hard ones may have got other settings"
        return NoDose(setting, counted, why)
    ledger = found.ledger.then(
        ("unchanged preset", counted.presets),
        ("how it was entered not recorded", counted.unknown),
        ("setting not recorded", counted.blank),
    )
    x = design.matrix(rows)
    fit = replace(fit_firth(x, y, design.names, intervals=False), ledger=ledger, log_hash=log_hash)
    if not fit.converged:
        return NoDose(setting, counted, f"the fit did not settle ({fit.reason})")
    return _told(setting, counted, rows, design, fit, x, y, ledger)


def _told(
    setting: Setting,
    counted: Counted,
    rows: pd.DataFrame,
    design: Design,
    fit: FirthResult,
    x: Floats,
    y: Floats,
    ledger: Ledger,
) -> Dose:
    term = next(term for term in design.terms if term.label == setting.name)
    assert isinstance(term, FittedCurve)
    columns = tuple(at for at in design.term_columns(setting.name) if NOT_RECORDED not in design.names[at])
    values = rows[setting.column].to_numpy(float)
    low, middle, high = (float(v) for v in np.quantile(values, USUAL))
    first, last = (float(v) for v in np.quantile(values, SHOWN))
    grid = np.linspace(first, last, 61)
    test = term_test(x, y, columns, setting.name)
    ends = [end for end in dict.fromkeys((low, high)) if end != middle]
    return Dose(
        setting=setting,
        counted=counted,
        curve=chance_curve(fit, x, columns, term, values, grid),
        test=test,
        adjusted_p=1.0,
        verdict=Verdict.CANNOT_TELL,
        differences=tuple(setting_difference(fit, x, columns, term, end, middle) for end in ends),
        fit=fit,
        left_out=design.left_out,
        ledger=ledger,
    )
