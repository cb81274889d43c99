"""The demo log as files: CSV tables, settings, answer key."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd

from analysis.demo.shop import Shop
from analysis.demo.simulator import Simulated, simulate
from analysis.records.dictionary import TABLES, Kind
from analysis.records.settings import FILE, settings_file

DEMO_SEED = 20240924
SHOP_NAME = "Lantern Street Bench (invented)"

README = """# data_demo

**Invented data.** This is the log of a workshop that does not exist, made by `python -m analysis.demo`
(random seed {seed}). No job, client, technician or donor in it is real.

`answer_key.json` holds what was planted: every coefficient of the chance that boot test 1 succeeds, the true
technician effects, the calendar of the bad donor lot, and which technique truly helps.

Lessons planted for an expert to recognise:

- The best technician (T2) gets the hardest boards and so has no better raw rate than the others.
- More cleaning passes go with failure: bad pads need them and failed jobs get more; a pass itself does little.
- The install set temperature has a shallow best range, not a slope.
- Preheat helps (true effect); SAC305 balls only look bad (confounded); a ball reset does nothing (null).
- One donor lot ({lot}, received {start} to {end}) is bad.
- Pads are lost mostly in removal and cleaning.
- About a third of the heat settings are unchanged presets.
- Hopeless jobs are given up more often; technicians' guesses carry information but are too sure of themselves.

Settings follow what is usual at such benches (common practice, no source): residue at about 230 °C air, leaded balls
at about 300 °C set, install at about 330 °C set, airflow 40, two to three cleaning passes a side.
"""


def _cells(frame: pd.DataFrame, name: str) -> pd.DataFrame:
    """A typed table as text, the way a careful person would have typed it."""
    table = next(t for t in TABLES if t.name == name)
    out = {}
    for column in table.columns:
        values = frame[column.name]
        if column.kind is Kind.DATE:
            out[column.name] = values.dt.strftime("%Y-%m-%d")
        elif column.kind is Kind.YES_NO:
            out[column.name] = values.map({True: "yes", False: "no"}, na_action="ignore")
        elif column.kind in (Kind.NUMBER, Kind.INTEGER):
            out[column.name] = values.map(lambda value: f"{value:g}", na_action="ignore")
        else:
            out[column.name] = values
        out[column.name] = out[column.name].astype(object).where(values.notna(), "")
    return pd.DataFrame(out)


def write_tables(simulated: Simulated, folder: Path) -> None:
    """Write the CSV tables of a simulated log."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in simulated.tables.items():
        text = _cells(frame, name).to_csv(index=False, lineterminator="\n")
        (folder / f"{name}.csv").write_text(text, encoding="utf-8", newline="\n")


def answer_key(simulated: Simulated, rng_seed: int) -> str:
    """The planted truth as JSON."""
    truth = simulated.truth
    key = {
        "what": "Answer key of an invented workshop: log-odds coefficients of success at boot test 1.",
        "rng_seed": rng_seed,
        "coefficients": truth.as_dict(),
        "techniques": truth.techniques(),
    }
    return json.dumps(key, indent=1, ensure_ascii=False) + "\n"


def write_demo(folder: Path, rng_seed: int = DEMO_SEED, shop: Shop | None = None) -> Simulated:
    """Write the demo log with settings, answer key and a note that all of it is invented.

    Parameters
    ----------
    folder : Path
        Where to.
    rng_seed : int
        Random seed.
    shop : Shop, optional
        Options; by default those of the demo.
    """
    simulated = simulate(shop or Shop(), rng_seed)
    write_tables(simulated, folder)
    truth = simulated.truth
    settings = settings_file(shop_name=SHOP_NAME, invented=True, currency="EUR", bench_hour_cost=60.0)
    note = README.format(
        seed=rng_seed, lot=truth.bad_lot, start=truth.bad_lot_received_from, end=truth.bad_lot_received_to
    )
    for name, text in {FILE: settings, "answer_key.json": answer_key(simulated, rng_seed), "README.md": note}.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return simulated
