"""Rules about work at the bench: chips, pads, solder and heat.

Melting points are the metallurgical standard values as found in alloy tables of solder makers: Sn63Pb37 183 °C,
Sn42Bi58 138 °C, SAC305 217 °C (solidus; sources give a liquidus of 218–221 °C), Sn–Pb–Bi ternary eutectic 96 °C.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.records.dictionary import CHIP_SIDES, HEAT_STEPS
from analysis.records.problems import Problem, Severity, quoted
from analysis.records.rulebook import Book, plain
from analysis.records.rules_fahrenheit import celsius, reads_like_fahrenheit

MELTS_AT_C = {"sn63pb37": 183.0, "sac305": 217.0, "sn42bi58": 138.0}
WARM_C = 20.0  # no preheater is set lower
BISMUTH = ("sn42bi58", "low_melt")


def chips_come_from_the_client(book: Book) -> list[Problem]:
    """Processor and storage are paired by encryption, so their own faces can only be the client's."""
    sides = book.tables["chip_sides"]
    chip = sides["chip_role"].isin(["processor", "storage"]) & sides["side"].ne("landing")
    mask = chip & sides["chip_source"].notna() & sides["chip_source"].ne("client")
    rule = "client, for processor and storage: another one cannot read the data"
    todo = "Correct the chip, the side or the source."
    return book.say("chip_sides", mask, "chip_source", rule, todo, "chip-source", reads=("chip_role", "side"))


def pads_agree(book: Book) -> list[Problem]:
    """Number of pads lost, where they were lost and the grade left tell the same story."""
    sides = book.tables["chip_sides"]
    lost = sides["pads_lost_n"]
    left, found = sides["pad_grade_left"], sides["pad_grade_found"]
    reads = ("pads_lost_n", "pad_grade_left", "pad_grade_found", "pads_lost_at")
    rule = "at least 1 where pad_grade_left is 3 or 4 (pads lost)"
    todo = "Count the pads lost, or correct the grade."
    out = book.say("chip_sides", left.ge(3) & lost.eq(0), "pads_lost_n", rule, todo, "pads-grade", reads=reads)
    rule = "3 or 4 where pads were lost, unless they were rebuilt"
    todo = "Leave it if the lost pads were rebuilt; otherwise correct the grade or the count."
    mask, warn = lost.ge(1) & left.lt(3), Severity.WARNING
    out += book.say("chip_sides", mask, "pad_grade_left", rule, todo, "pads-rebuilt", reads=reads, severity=warn)
    rule, todo = (
        "at least 1 where pads were already lost when found (grade 3 or 4)",
        "Count them, or correct the grade.",
    )
    mask = found.ge(3) & lost.eq(0) & ~left.ge(3).fillna(False)
    out += book.say("chip_sides", mask, "pads_lost_n", rule, todo, "pads-grade", reads=reads)
    rule, todo = "blank where no pad was lost", "Clear the cell, or count the pads lost."
    none_lost = lost.eq(0) | (lost.isna() & left.lt(3))
    mask = sides["pads_lost_at"].notna() & none_lost
    return out + book.say("chip_sides", mask, "pads_lost_at", rule, todo, "pads-lost-at", reads=reads)


def work_belongs_to_a_test(book: Book) -> list[Problem]:
    """Work is dated before a test that was made or is the next to come."""
    tested = book.job_rows("boot_tests")
    tests_n = np.bincount(tested[tested >= 0], minlength=len(book.tables["jobs"]) + 1)  # the last one: no such job
    out: list[Problem] = []
    for name in ("chip_sides", "heat_steps"):
        frame = book.tables[name]
        most = tests_n[book.job_rows(name)] + 1
        rule = "at most one more than the boot tests of the job"
        todo = "Correct before_test_no, or add the missing boot test."
        out += book.say(
            name, frame["before_test_no"].gt(most), "before_test_no", rule, todo, "work-after-tests", over_rows=True
        )
    return out


def bismuth_under_leaded_balls(book: Book) -> list[Problem]:
    """Bismuth left on pads under leaded balls makes joints that soften at 96 °C."""
    sides = book.tables["chip_sides"]
    mask = sides["clean_alloy"].isin(BISMUTH) & sides["ball_alloy"].eq("sn63pb37")
    rule = "a fresh leaded pass between bismuth cleaning and leaded balls (Sn–Pb–Bi melts at 96 °C)"
    todo = "Use the code that ends in _then_leaded if there was one; otherwise expect weak joints."
    warn = Severity.WARNING
    return book.say("chip_sides", mask, "clean_alloy", rule, todo, "bismuth-lead", reads=("ball_alloy",), severity=warn)


def _ball_alloy_of(book: Book, steps: pd.DataFrame) -> pd.Series:
    """Alloy of the balls under the chip of each step: as reballed last before the boot test the step came before."""
    sides = book.tables["chip_sides"]
    lower = sides[sides["side"].eq("lower") & sides["ball_alloy"].notna() & sides["job_id"].notna()]
    install = steps[steps["step_type"].eq("install") & steps["job_id"].notna() & steps["chip_role"].notna()]

    def keyed(frame: pd.DataFrame) -> pd.DataFrame:
        keys = frame[["job_id", "chip_role"]].astype(str)
        return keys.assign(before=frame["before_test_no"].fillna(1).astype("int64"), at=frame.index)

    balls = keyed(lower).assign(alloy=lower["ball_alloy"].astype(str)).sort_values("before", kind="stable")
    wanted = keyed(install).sort_values("before", kind="stable")
    met = pd.merge_asof(wanted, balls.drop(columns="at"), on="before", by=["job_id", "chip_role"])
    return pd.Series(met["alloy"].to_numpy(), index=met["at"].to_numpy(), dtype=object).reindex(steps.index)


def installs_melt_the_balls(book: Book) -> list[Problem]:
    """An install reaches the melting point of the balls: measured below it is a fault, set below it a warning."""
    steps = book.tables["heat_steps"]
    heats = [steps[name].to_numpy(float, na_value=np.nan) for name in ("measured_peak_c", "set_temp_c")]
    cool = np.fmin(*heats) < max(MELTS_AT_C.values())
    install = steps["step_type"].eq("install") & cool
    if not install.any() or not len(book.tables["chip_sides"]):
        return []
    melts = _ball_alloy_of(book, steps[install]).reindex(steps.index).map(MELTS_AT_C).astype(float)
    out: list[Problem] = []
    wording = {
        "measured_peak_c": ("measured", Severity.FAULT, "Correct the measurement, the alloy or the step."),
        "set_temp_c": ("set", Severity.WARNING, "Look whether the setting or the alloy was noted wrongly."),
    }
    for column, (what, severity, todo) in wording.items():
        for alloy, melting in MELTS_AT_C.items():
            mask = install & melts.eq(melting) & steps[column].lt(melting)
            name = CHIP_SIDES["ball_alloy"].text_of(alloy)
            rule = f"an install {what} at {melting:g} °C or more: {name} balls do not melt below"
            out += book.say("heat_steps", mask, column, rule, todo, f"below-melting-{what}", severity=severity)
    return out


def preheats_are_warm(book: Book) -> list[Problem]:
    """A preheat is warmer than the room; 0 says that there was none."""
    preheat = book.tables["heat_steps"]["preheat_c"]
    rule = f"0 where there was no preheat, or a number from {WARM_C:g} to {HEAT_STEPS['preheat_c'].high:g} °C"
    todo = "Correct the number; leave it blank when it is not known."
    return book.say("heat_steps", preheat.gt(0) & preheat.lt(WARM_C), "preheat_c", rule, todo, "preheat-cold")


def range_todo(column: str, value: float) -> str:
    """What to do about a number out of range; a temperature that looks like Fahrenheit is named as such."""
    if reads_like_fahrenheit(column, value):
        return f"{value:g} looks like Fahrenheit; it would be {np.round(celsius(value)):g} °C. Write °C."
    return "Correct the number; leave it blank when it is not known."


def text_of_number(value: object) -> str:
    """A number as found."""
    return quoted(plain(float(str(value))))
