"""Writes the invented technicians' jobs of this check: ``python -m tests.reference.technicians.make_data``."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import expit

DATA = Path(__file__).resolve().parent / "data"
PLANTED = {"P1": 0.0, "P2": 0.7, "P3": -0.2, "P4": -0.5, "P5": 0.1}


def main() -> None:
    rng = np.random.default_rng(44)
    code = np.repeat(np.array(list(PLANTED)), (40, 40, 40, 40, 12))
    offset = np.round(rng.normal(0, 0.8, len(code)) - 0.4 * (code == "P2"), 4)
    chance = expit(0.7 + offset + pd.Series(code).map(PLANTED).to_numpy(float))
    booted = (rng.random(len(code)) < chance).astype(int)
    frame = pd.DataFrame({"technician": code, "offset": offset, "booted": booted})
    frame.to_csv(DATA / "invented_team.csv", index=False, lineterminator="\n")


if __name__ == "__main__":
    main()
