"""What may explain a change of first boots: columns of a job whose levels are set side by side, in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort
from analysis.cohort.work import dated
from analysis.records.dictionary import BY_NAME
from analysis.records.log import Log

PERSON = "technician_id"


@dataclass(frozen=True)
class Factor:
    """A column whose levels are candidates, with its plain name and the table that declares its codes."""

    column: str
    name: str
    declared: tuple[str, str] | None = None


FACTORS = (
    Factor("donor_lot", "donor lot"),
    Factor("known_good", "donor test", ("donors", "known_good")),
    Factor("ball_alloy", "ball alloy", ("chip_sides", "ball_alloy")),
    Factor("clean_alloy", "cleaning alloy", ("chip_sides", "clean_alloy")),
    Factor(PERSON, "technician"),
    Factor("board_family", "board family"),
    Factor("intake_damage", "damage at intake", ("jobs", "intake_damage")),
    Factor("station", "hot-air station"),
    Factor("temperature", "install set temperature"),
    Factor("install_preheat", "preheat at install"),
    Factor("blade_used", "blade"),
    Factor("ball_reset", "ball reset"),
)
BY_COLUMN = {factor.column: factor for factor in FACTORS}
YES_NO = {"1.0": "yes", "0.0": "no"}


def group_in(log: Log, cohort: Cohort, month: pd.Period, column: str, code: str) -> pd.DataFrame:
    """First boots of a month that belong to a group: a level of a column of :data:`FACTORS`."""
    rows = cohort.first_boots
    mine, earlier = rows["first_boot_month"].eq(month), rows["first_boot_month"].lt(month)
    now, _ = with_settings(log, rows[mine], rows[earlier])
    return now[now[column].notna() & now[column].astype(str).eq(code)]


def with_settings(log: Log, period: pd.DataFrame, earlier: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Add cleaning alloy, station and whether the install temperature lay outside the earlier jobs' usual range."""
    sides, _ = dated(log.tables["chip_sides"], log)
    main = sides["before"].eq(1) & sides["chip_role"].eq("processor") & sides["side"].eq("lower")
    alloy = sides[main].drop_duplicates("job_id").set_index("job_id")["clean_alloy"].astype(object)
    steps, _ = dated(log.tables["heat_steps"], log)
    install = steps["before"].eq(1) & steps["chip_role"].eq("processor") & steps["step_type"].eq("install")
    station = steps[install].sort_values("step_no").drop_duplicates("job_id", keep="last").set_index("job_id")
    known = earlier["install_set_temp_c"].dropna()
    low, high = known.quantile([0.1, 0.9]) if len(known) >= 10 else (np.nan, np.nan)
    out = []
    for rows in (period, earlier):
        set_c = rows["install_set_temp_c"].to_numpy(float)
        band = np.select([set_c < low, set_c > high, set_c >= low], ["below usual", "above usual", "usual"], "")
        named = pd.Series(band, index=rows.index, dtype=object).replace("", None)
        preset = rows["install_temp_entry"].eq("unchanged preset")
        out.append(
            rows.assign(
                clean_alloy=rows["job_id"].map(alloy),
                station=rows["job_id"].map(station["station_id"]).astype(object),
                temperature=named.mask(preset, "unchanged preset"),
            )
        )
    return out[0], out[1]


def level_of(factor: Factor, code: str) -> str:
    """A level in words."""
    if factor.declared:
        table, column = factor.declared
        return BY_NAME[table][column].text_of(code)
    return YES_NO.get(code, code)
