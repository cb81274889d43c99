"""One outside check: what was expected, from where, what we got, to how many digits it must agree."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve().parent


@dataclass(frozen=True)
class Check:
    """A row of the verification table.

    Parameters
    ----------
    engine, source, quantity : str
        What was checked and against what.
    status : str
        "published value seen", "published value from memory" or "reference software only".
    expected, got : tuple of float
    digits : int
        Significant digits that must agree (relative for large numbers, absolute for numbers under one).
    """

    engine: str
    source: str
    quantity: str
    status: str
    expected: tuple[float, ...]
    got: tuple[float, ...]
    digits: float = 7

    @property
    def error(self) -> float:
        """Largest difference, relative for numbers over one."""
        expected, got = np.asarray(self.expected, float), np.asarray(self.got, float)
        if expected.shape != got.shape:
            return float("inf")
        return float((np.abs(got - expected) / np.maximum(np.abs(expected), 1)).max())

    @property
    def agreed(self) -> float:
        """Digits that agree."""
        return 16.0 if self.error == 0 else float(min(16.0, -np.log10(self.error)))

    @property
    def holds(self) -> bool:
        """Whether enough digits agree."""
        return self.error < 10.0**-self.digits


def numbers(values: Any) -> tuple[float, ...]:
    """Any array of numbers as a flat tuple."""
    return tuple(float(v) for v in np.ravel(np.asarray(values, dtype=float)))


class Source:
    """Expected values and data of one engine's folder."""

    def __init__(self, engine: str, folder: str) -> None:
        self.engine, self.folder = engine, HERE / folder
        self.expected = json.loads((self.folder / "expected.json").read_text(encoding="utf-8"))
        self.checks: list[Check] = []

    def data(self, name: str) -> pd.DataFrame:
        """A data set of the folder."""
        return pd.read_csv(self.folder / "data" / f"{name}.csv")

    def add(self, source: str, status: str, quantity: str, expected: Any, got: Any, digits: float = 7) -> None:
        """Record a check."""
        self.checks.append(Check(self.engine, source, quantity, status, numbers(expected), numbers(got), digits))

    def columns(self, found: Any, expected: dict[str, Any], names: Iterable[str], source: str, status: str) -> None:
        """Record a check for each named attribute of a result."""
        for name in names:
            self.add(source, status, name, expected[name], getattr(found, ATTRIBUTE.get(name, name)))


ATTRIBUTE = {"coef": "coefficients"}


def intercept(columns: Sequence[Any]) -> np.ndarray:
    """A design with an intercept before the given columns."""
    stacked = np.column_stack([np.asarray(column, dtype=float) for column in columns])
    return np.column_stack([np.ones(len(stacked)), stacked])
