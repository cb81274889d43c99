"""A log of any size in bounded memory: a network of invented shops, one after the other in the same files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.demo.writing import SHOP_NAME, table_text
from analysis.records.settings import FILE, settings_file

SHOP_JOBS = 50_000  # jobs of one shop of the network; what one shop needs is all that is ever held
NUMBERED = {"job_id": "J-", "previous_job_id": "J-", "donor_id": "D-", "technician_id": "T"}


def _renumbered(codes: pd.Series, prefix: str, first: int) -> pd.Series:
    """Codes such as J-0012 counted on from ``first``."""
    places, names = pd.factorize(codes)
    numbers = [int(name.removeprefix(prefix)) + first for name in names]
    width = 4 if prefix.endswith("-") else 1
    texts = np.array([*(f"{prefix}{number:0{width}d}" for number in numbers), None], dtype=object)
    return pd.Series(texts[places]).astype("string")


def _one_shop(shop: Shop, rng_seed: int, place: int) -> dict[str, pd.DataFrame]:
    """Tables of one shop, its codes counted on from those of the shops before."""
    first = {"job_id": place * SHOP_JOBS, "donor_id": 2 * place * SHOP_JOBS, "technician_id": place * shop.technicians}
    first["previous_job_id"] = first["job_id"]
    tables = simulate(shop, rng_seed).tables
    return {
        name: frame.assign(
            **{key: _renumbered(frame[key], NUMBERED[key], first[key]) for key in NUMBERED if key in frame}
        )
        for name, frame in tables.items()
    }


def write_network(folder: Path, jobs: int, rng_seed: int) -> None:
    """Write the log of a network that received so many jobs.

    Parameters
    ----------
    folder : Path
        Where to.
    jobs : int
        Jobs in all; shops hold :data:`SHOP_JOBS` each, the last one the rest.
    rng_seed : int
        Random seed; the same seed gives the same files.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for place, start in enumerate(range(0, jobs, SHOP_JOBS)):
        mine = Shop(learning=True, jobs=min(SHOP_JOBS, jobs - start))
        for name, frame in _one_shop(mine, rng_seed + place, place).items():
            with (folder / f"{name}.csv").open("a" if place else "w", encoding="utf-8", newline="\n") as out:
                out.write(table_text(frame, name, heading=not place))
    settings = settings_file(shop_name=SHOP_NAME, invented=True, currency="EUR", bench_hour_cost=35.0)
    (folder / FILE).write_text(settings, encoding="utf-8", newline="\n")
