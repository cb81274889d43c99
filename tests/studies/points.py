"""Do the intervals in percentage points cover the average difference, though only one coefficient moves in them?

``python -m tests.studies.points --fits 400`` draws jobs whose chance of a first boot is known, fits the description's
kind of model, and counts how often the interval of one 0/1 column holds the true average difference among those jobs.
"""

from __future__ import annotations

import argparse

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from analysis.models.effects import average_difference
from analysis.models.firth import fit_firth
from tests.studies.record import Finding, add_write, report

NAMES = ("intercept", "looked at", "a", "b", "c", "d", "e")
REST = np.array([-0.6, 0.4, 0.3, -0.5, 0.5])
CASES = {  # jobs, share with the level looked at, its log odds ratio
    "150 jobs, 10 % with it": (150, 0.10, -1.5),
    "150 jobs, 40 % with it": (150, 0.40, -0.8),
    "500 jobs, 7 % with it": (500, 0.07, -1.5),
    "500 jobs, 30 % with it": (500, 0.30, -0.6),
}


def held(jobs: int, share: float, effect: float, rng: np.random.Generator) -> bool:
    """Whether the interval of one fit holds the truth; the level looked at goes with another column."""
    rest = np.column_stack([rng.normal(size=(jobs, 3)), rng.random((jobs, 2)) < 0.3]).astype(float)
    level = (rng.random(jobs) < expit(logit(share) + 0.8 * rest[:, 0])).astype(float)
    base = 1.2 + rest @ REST
    y = (rng.random(jobs) < expit(base + effect * level)).astype(float)
    x = np.column_stack([np.ones(jobs), level, rest])
    true = 100 * float((expit(base + effect) - expit(base)).mean())
    found = average_difference(fit_firth(x, y, NAMES), x, 1, (1,))
    return found.low <= true <= found.high


def study(fits: int, first_seed: int = 0) -> pd.DataFrame:
    """Coverage of each case with its Monte Carlo error."""
    rows = []
    for name, case in CASES.items():
        share = float(np.mean([held(*case, np.random.default_rng(first_seed + k)) for k in range(fits)]))
        rows.append((name, fits, share, float(np.sqrt(share * (1 - share) / fits))))
    return pd.DataFrame(rows, columns=["case", "fits", "coverage", "error"]).set_index("case")


def findings(table: pd.DataFrame) -> list[Finding]:
    """Coverage of each case."""
    return [
        Finding(f"coverage of the 95 % interval, {case}", row["coverage"], row["error"], int(row["fits"]), 0.93, 0.97)
        for case, row in table.iterrows()
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fits", type=int, default=400)
    add_write(parser)
    args = parser.parse_args()

    def run() -> list[Finding]:
        table = study(args.fits)
        print(table.round(3).to_string())
        return findings(table)

    report(__file__, args.write, run)


if __name__ == "__main__":
    main()
