"""Writes the samples of 1 to 8 invented rows with ties: ``python -m tests.reference.competing.make_tiny``."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

EACH = 10  # samples of each size


def main() -> None:
    rng = np.random.default_rng(11)
    parts = []
    for number in range(8 * EACH):
        n = number // EACH + 1
        first = 0 if number % 4 == 0 else 1  # every fourth sample may end at time 0
        parts.append(
            pd.DataFrame(
                {
                    "sample": number,
                    "time": rng.integers(first, 5, n),
                    "end": rng.integers(0, 3, n),
                    "group": rng.integers(0, 2, n),
                    "z": rng.normal(size=n).round(2),
                }
            )
        )
    data = Path(__file__).resolve().parent / "data"
    pd.concat(parts).to_csv(data / "tiny.csv", index=False, lineterminator="\n")


if __name__ == "__main__":
    main()
