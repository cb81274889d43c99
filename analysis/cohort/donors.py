"""Facts of the donor used in a given boot test."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.records.log import Log

# Middle of each declared band (years); the open band counts as 8 years. Common practice, no source.
BAND_MIDDLE = {"0_to_1": 0.5, "1_to_3": 2.0, "3_to_6": 4.5, "over_6": 8.0}


def donor_of_test(log: Log, wanted: pd.DataFrame) -> pd.Series:
    """Donor used in each wanted boot test: the test's own, else the job's.

    Parameters
    ----------
    log : Log
        The validated log.
    wanted : DataFrame, shape (m, >=2)
        ``job_id`` and ``test_no``.
    """
    tests = log.tables["boot_tests"][["job_id", "test_no", "donor_id"]].drop_duplicates(["job_id", "test_no"])
    tests = tests.astype({"test_no": float})
    own = wanted[["job_id", "test_no"]].astype({"test_no": float}).merge(tests, how="left", on=["job_id", "test_no"])
    job_donor = own["job_id"].map(log.tables["jobs"].set_index("job_id")["donor_id"])
    return own["donor_id"].where(own["donor_id"].notna(), job_donor).rename("donor_id")


def donor_features(log: Log, wanted: pd.DataFrame) -> pd.DataFrame:
    """Donor facts as known before each wanted boot test.

    Returns
    -------
    DataFrame, shape (m, 5)
        ``donor_id``, ``donor_age_years`` (years; from the age, else the middle of its band, else the model year
        counted to the day the job was received), ``known_good``, ``prior_installs_n``, ``donor_lot``.
    """
    donors = log.tables["donors"].drop_duplicates("donor_id").set_index("donor_id")
    ids = donor_of_test(log, wanted)
    row = donors.reindex(ids).reset_index(drop=True)
    received = wanted["job_id"].map(log.tables["jobs"].set_index("job_id")["received_date"]).reset_index(drop=True)
    band = row["donor_age_band"].astype(object).map(BAND_MIDDLE).astype(float)
    model_year = row["donor_model_year"].astype("Float64").to_numpy(float, na_value=np.nan)
    since_model = (received.dt.year + (received.dt.dayofyear - 1) / 365.25 - model_year).clip(lower=0)
    age = row["donor_age_years"].astype(float)
    return pd.DataFrame(
        {
            "donor_id": ids.to_numpy(),
            "donor_age_years": age.where(age.notna(), band.where(band.notna(), since_model)).to_numpy(float),
            "known_good": row["known_good"].astype(object).to_numpy(),
            "prior_installs_n": row["prior_installs_n"].astype("Float64").to_numpy(float, na_value=np.nan),
            "donor_lot": row["lot"].astype(object).to_numpy(),
        }
    )
