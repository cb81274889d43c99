"""Net benefit by the package dcurves: run here with dcurves installed, ``python reference_dcurves.py``.

Writes expected_dcurves.json and versions_dcurves.txt. The suite and its tests do not need the package.
"""

from __future__ import annotations

import json
from importlib.metadata import version
from pathlib import Path

import dcurves
import pandas as pd

HERE = Path(__file__).resolve().parent
THRESHOLDS = [0.01, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.5]

data = pd.read_csv(HERE / "data" / "dcurves_binary.csv")
found = dcurves.dca(
    data=data.astype({"cancer": int}), outcome="cancer", modelnames=["cancerpredmarker"], thresholds=THRESHOLDS
)
told = {name: rows.sort_values("threshold") for name, rows in found.groupby("model")}
values = {name: told[name]["net_benefit"].tolist() for name in ("all", "cancerpredmarker")}
threshold = told["all"]["threshold"].tolist()
(HERE / "expected_dcurves.json").write_text(json.dumps({"threshold": threshold} | values, indent=1) + "\n")
packages = ("dcurves", "pandas", "numpy")
(HERE / "versions_dcurves.txt").write_text("".join(f"{name} {version(name)}\n" for name in packages))
