"""Temperatures that read like Fahrenheit: out of range, or in range but far above what the shop usually sets."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.records.dictionary import HEAT_STEPS, Column
from analysis.records.problems import Problem, Severity, quoted
from analysis.records.rulebook import Book, flag, plain

TEMPERATURES = ("set_temp_c", "measured_peak_c", "preheat_c")
RULE = "written in °C, not in Fahrenheit as this reads"
_FEWEST = 8  # values of a kind of step before they make a usual one
_MANY = 5  # cells that can be nothing but Fahrenheit before a whole file is taken to be written in it
_NARROWEST_C = 20.0  # half the width of the usual where a shop always sets the same


def celsius(value: Any) -> Any:
    """Degrees Fahrenheit, one or a column of them, as °C."""
    return (value - 32) / 1.8


def can_only_be_fahrenheit(column: Column, values: pd.Series) -> NDArray[np.bool_]:
    """Whether each value lies above the column's range, and in it when taken as Fahrenheit."""
    return flag(values.gt(column.high) & celsius(values).between(column.low, column.high))


def reads_like_fahrenheit(column: str, value: float) -> bool:
    """Whether one value out of range is a temperature that would lie in it as Fahrenheit."""
    return column in TEMPERATURES and bool(can_only_be_fahrenheit(HEAT_STEPS[column], pd.Series([value]))[0])


def fahrenheit_in_range(book: Book) -> list[Problem]:
    """A warning where a value in range reads like Fahrenheit beside the others.

    Where most jobs hold values that can only be Fahrenheit, every other value that may be is told of. Elsewhere a value
    is that lies nearer to the usual of its kind of step in Fahrenheit than in °C, and within that usual as Fahrenheit.
    The usual is the median of the jobs without such values, give or take three times the median deviation.
    """
    steps = book.tables["heat_steps"]
    if not len(steps):
        return []
    out: list[Problem] = []
    sure = {name: can_only_be_fahrenheit(HEAT_STEPS[name], steps[name]) for name in TEMPERATURES}
    any_sure = np.logical_or.reduce(list(sure.values()))
    jobs = pd.Series(book.key_numbers("heat_steps", ["job_id"]), index=steps.index)
    of_such_a_job = jobs.isin(jobs[any_sure].unique())
    cells = sum(int(told.sum()) for told in sure.values())
    mostly = cells >= _MANY and jobs[of_such_a_job].nunique() > jobs.nunique() / 2
    for name, told in sure.items():
        if mostly:
            as_c, column = celsius(steps[name]), HEAT_STEPS[name]
            mask, beside = flag(as_c.between(column.low, column.high)) & ~told, f"{cells} cells that can only be so"
        else:
            mask, beside = _far_above_the_usual(steps, name, ~flag(of_such_a_job)), "the usual of this kind of step"
        out += _told(book, name, mask, beside)
    return out


def _far_above_the_usual(steps: pd.DataFrame, name: str, sound: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Values that are far above the usual of their kind of step, and in it as Fahrenheit."""
    values, kinds = steps[name].to_numpy(float, na_value=np.nan), steps["step_type"].cat.codes.to_numpy()
    out, known = np.zeros(len(steps), dtype=bool), values > 0  # 0: no preheat
    for kind in range(len(steps["step_type"].cat.categories)):
        at = np.flatnonzero(known & (kinds == kind))
        mine, usual = values[at], sound[at]
        if usual.sum() < _FEWEST:
            continue
        middle = np.median(mine[usual])
        nearer = mine > (middle + middle * 1.8 + 32) / 2
        if nearer.any():
            off = np.abs(mine - middle)
            # 1.4826: the standard deviation of normal values is so many times their median deviation.
            width = max(3 * 1.4826 * float(np.median(off[usual])), _NARROWEST_C)
            out[at] = nearer & (off > width) & (np.abs(celsius(mine) - middle) <= width)
    return out


def _told(book: Book, name: str, mask: NDArray[np.bool_], beside: str) -> list[Problem]:
    def found(row: pd.Series) -> str:
        would_be = f"from Fahrenheit it would be {celsius(row[name]):.0f} °C"
        return f"{quoted(plain(float(row[name])))}, beside {beside}; {would_be}"

    todo = "Write °C if this is Fahrenheit; leave it if it was so."
    warn = Severity.WARNING
    return book.say("heat_steps", mask, name, RULE, todo, "fahrenheit", severity=warn, found=found)
