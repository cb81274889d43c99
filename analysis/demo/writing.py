"""The demo log as files: CSV tables, settings, answer key."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.demo.gaps import OLD_MONTHS
from analysis.demo.shop import Shop
from analysis.demo.simulator import Simulated, simulate
from analysis.demo.truth import Truth
from analysis.records.dictionary import TABLES, WORD_OF, Kind
from analysis.records.settings import FILE, settings_file

# The planted lessons show in any large log; in 650 jobs chance hides some of them more often than not. This is one of
# five seeds among the hundred from 20240924 on with which each can be seen and the levels are those stated.
DEMO_SEED = 20240978
DEMO_SHOP = Shop(learning=True)
KEY_VERSION = 2
SHOP_NAME = "Lantern Street Bench (invented)"

# The feature of one job that each coefficient multiplies; a mapping of codes gives log odds of each code.
FEATURES = {
    "intercept": "every job",
    "intake_damage": "jobs.intake_damage",
    "second_damage_seen": "jobs.second_damage filled in",
    "device_age_years": "jobs.device_age_years, a year",
    "prior_rework_elsewhere": "jobs.prior_rework is elsewhere",
    "underfill": "jobs.underfill",
    "tablet": "jobs.device_class is tablet",
    "board_family": "jobs.board_family",
    "donor_age_years": "donors.donor_age_years, a year",
    "known_good": "donors.known_good",
    "prior_installs_n": "donors.prior_installs_n, each",
    "clean_passes_per_side": "mean of chip_sides.clean_passes_n over the sides before boot test 1, a pass",
    "pad_grade_found_worst": "worst chip_sides.pad_grade_found of processor and storage before test 1, a grade",
    "pads_lost_band": "sum of chip_sides.pads_lost_n before test 1",
    "temperature_loss_at_25": (
        "minus this times ((set temperature of the last processor install before test 1, as station S1 shows it,"
        " minus best_install_c) / 25) squared"
    ),
    "install_preheat": "preheat_c on that install, or a preheat step for the processor before test 1",
    "reball_tries_n": "most chip_sides.reball_tries_n before test 1, each beyond the first",
    "blade_used": "a blade on any side before test 1",
    "ball_alloy_sac305": "chip_sides.ball_alloy of the processor's lower side is sac305",
    "ball_reset": "chip_sides.ball_reset of the processor's lower side",
    "technician": "jobs.technician_id",
    "learning_per_100_jobs": "the technician's earlier accepted jobs of this log, per 100, up to learning_ends_at_jobs",
    "bad_lot_log_odds": "donors.lot is bad_lot",
}

README = """# data_demo

**Invented data.** This is the log of a workshop that does not exist, made by `python -m analysis.demo`
(random seed {seed}). No job, client, technician or donor in it is real.

Make it again, byte for byte: `python -m analysis.demo`; print its levels: `python -m analysis.demo --describe`.

`answer_key.json` holds what was planted: every coefficient of the chance that boot test 1 succeeds with the feature it
belongs to, the true technician effects, the calendar of changes, and which technique truly helps.

Lessons planted for an expert to recognise:

- The best technician (T2) gets the hardest boards and so has the lowest raw rate of first boots.
- More cleaning passes go with failure: bad pads need them and failed jobs get more; a pass itself does little.
- The install set temperature has a shallow best range, not a slope.
- Preheat helps (true effect); SAC305 balls only look bad (confounded); a ball reset does nothing (null).
- One donor lot ({lot}, on jobs received {start} to {end}) is bad. The bench did not know: the cause written is mostly
  another, or not found.
- Pads are lost mostly in removal and cleaning.
- About a third of the heat settings are unchanged presets.
- Technicians get a little better with each hundred jobs, so that first boots rise slowly (log odds {gain} a hundred).
- Hopeless jobs are given up sooner, and so are jobs that are paid whatever happens; technicians' guesses carry
  information but are too sure of themselves and too hopeful.

Blanks, "unknown", work noted without its boot test, and jobs of the first half-year without heat steps are meant: they
are as such logs are.

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
            out[column.name] = values.map(WORD_OF, na_action="ignore")
        elif column.kind in (Kind.NUMBER, Kind.INTEGER):
            places, numbers = pd.factorize(values)  # each different number is written once
            texts = np.array([*(f"{number:g}" for number in numbers), ""], dtype=object)
            out[column.name] = pd.Series(texts[places], index=values.index)
        else:
            out[column.name] = values
        out[column.name] = out[column.name].astype(object).where(values.notna(), "")
    return pd.DataFrame(out)


def table_text(frame: pd.DataFrame, name: str, *, heading: bool = True) -> str:
    """A typed table as CSV."""
    return str(_cells(frame, name).to_csv(index=False, header=heading, lineterminator="\n"))


def write_tables(simulated: Simulated, folder: Path) -> None:
    """Write the CSV tables of a simulated log."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in simulated.tables.items():
        (folder / f"{name}.csv").write_text(table_text(frame, name), encoding="utf-8", newline="\n")


def calendar(shop: Shop, truth: Truth) -> dict[str, str]:
    """What changes when, in days of receipt."""
    heat_from = pd.Timestamp(shop.first_day) + pd.DateOffset(months=OLD_MONTHS)
    return {
        "first_day": shop.first_day,
        "heat_steps_noted_from": str(heat_from.date()),
        "bad_lot_from": truth.bad_lot_received_from,
        "bad_lot_to": truth.bad_lot_received_to,
        "last_day": shop.last_day,
        "log_ends": shop.cut,
    }


def answer_key(simulated: Simulated) -> str:
    """The planted truth as JSON."""
    truth = simulated.truth
    key = {
        "what": "Answer key of an invented workshop: log-odds coefficients of success at boot test 1.",
        "version": KEY_VERSION,
        "rng_seed": DEMO_SEED,
        "coefficients": truth.as_dict(),
        "features": FEATURES,
        "techniques": truth.techniques(),
        "calendar": calendar(DEMO_SHOP, truth),
    }
    return json.dumps(key, indent=1, ensure_ascii=False) + "\n"


def write_demo(folder: Path) -> None:
    """Write the demo log with settings, answer key and a note that all of it is invented.

    Parameters
    ----------
    folder : Path
        Where to.
    """
    simulated = simulate(DEMO_SHOP, DEMO_SEED)
    write_tables(simulated, folder)
    truth = simulated.truth
    settings = settings_file(shop_name=SHOP_NAME, invented=True, currency="EUR", bench_hour_cost=35.0)
    note = README.format(
        seed=DEMO_SEED,
        gain=truth.learning_per_100_jobs,
        lot=truth.bad_lot,
        start=truth.bad_lot_received_from,
        end=truth.bad_lot_received_to,
    )
    for name, text in {
        FILE: settings,
        "answer_key.json": answer_key(simulated),
        "README.md": note,
    }.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
