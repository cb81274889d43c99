"""What the steps work on: simulated logs of a given number of jobs, and rows with twelve covariates."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

RNG_SEED = 20240978
COVARIATES = 12
GROUPS = 30  # technicians


def log_of(jobs: int, folder: Path) -> Path:
    """The log of an invented network of shops; made once and kept."""
    out = folder / f"log-{jobs}"
    if not (out / "bench.toml").exists():  # written last
        from analysis.demo.network import write_network

        write_network(out, jobs, RNG_SEED)
    return out


@dataclass(frozen=True)
class Rows:
    """Simulated rows: half of the covariates 0/1, half normal; the first column of ``x`` is the intercept."""

    x: np.ndarray
    y: np.ndarray
    group: np.ndarray
    time: np.ndarray
    event: np.ndarray

    @property
    def names(self) -> tuple[str, ...]:
        return ("intercept", *(f"x{j}" for j in range(1, self.x.shape[1])))


def rows_of(n: int) -> Rows:
    """Rows with a binary outcome, and with a time in quarters of an hour with censoring and a competing end."""
    rng = np.random.default_rng(RNG_SEED)
    flags = (rng.random((n, COVARIATES // 2)) < np.linspace(0.1, 0.5, COVARIATES // 2)).astype(float)
    x = np.column_stack([np.ones(n), flags, rng.normal(size=(n, COVARIATES // 2))])
    beta = np.r_[0.6, np.linspace(-0.8, 0.8, COVARIATES)]
    group = rng.integers(0, GROUPS, n)
    eta = x @ beta + rng.normal(0, 0.3, GROUPS)[group]
    y = (rng.random(n) < 1 / (1 + np.exp(-eta))).astype(float)
    hours = np.ceil(4 * rng.exponential(6 * np.exp(-0.5 * (x[:, 1:] @ beta[1:])))) / 4
    ends = rng.choice([0, 1, 2], n, p=[0.1, 0.7, 0.2])
    return Rows(x, y, group, np.minimum(hours, 80.0), ends)
