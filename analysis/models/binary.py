"""Outcomes that are 0 or 1: the chance that log odds stand for, and rows taken a few at a time."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# What is worked on at once fits a processor's cache, and is small enough for the memory to be used again at once:
# with larger arrays exponentials take five times as long.
BLOCK_CELLS = 2**15


def chances(eta: Floats) -> tuple[Floats, Floats]:
    """Chance, and log(1 + exp(eta)), from one exponential."""
    small = np.exp(-np.abs(eta))
    p = np.where(eta >= 0, 1.0, small) / (1.0 + small)
    return p, np.maximum(eta, 0.0) + np.log1p(small)


def blocks(rows: int, cells_a_row: int) -> Iterator[slice]:
    """Parts of so many rows, one after the other, each with about :data:`BLOCK_CELLS` cells."""
    size = max(64, BLOCK_CELLS // max(cells_a_row, 1))
    return (slice(first, first + size) for first in range(0, rows, size))
