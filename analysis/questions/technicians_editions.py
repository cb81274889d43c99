"""Up to which day a private page counts, so that two editions of it give nobody away.

The bench's figures less one's own are those of the others together. Two pages a month apart, each less one's own, give
what the others added in that month: if only one other worked, that one's figures. So a page counts up to certain days
only, and from one to the next at least two others have added some jobs each; the days follow from the log alone.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort
from analysis.errors import ReworkError
from analysis.questions.technicians_rows import PERSON

OTHERS = 2
LEAST = 5  # first boots that each of them must have added; common practice for small cells, no source


def edition_day(rows: pd.DataFrame, code: str, minimum: int) -> pd.Timestamp | None:
    """Last day up to which the page of one technician counts.

    Parameters
    ----------
    rows : DataFrame
        First boots of the log.
    code : str
        Whose page it is.
    minimum : int
        First boots from which somebody is part of the bench's figures.

    Returns
    -------
    Timestamp or None
        None as long as there is no such day.
    """
    others = rows[rows[PERSON].notna() & rows[PERSON].ne(code) & rows["first_boot_date"].notna()]
    if others.empty:
        return None
    counts = pd.crosstab(others["first_boot_date"], others[PERSON].astype(str)).sort_index().cumsum()
    # Whoever has fewer than the minimum is not in the figures yet, and comes in with all their jobs at once.
    shown = counts.where(counts >= minimum, 0).to_numpy()
    day, last = None, np.zeros(shown.shape[1])
    for at, row in enumerate(shown):
        if int((row - last >= LEAST).sum()) >= OTHERS:
            day, last = counts.index[at], row
    return day


def up_to_edition(cohort: Cohort, code: str, minimum: int) -> tuple[Cohort, pd.Timestamp]:
    """The cohort with the first boots up to the day of the technician's page, and that day.

    Raises
    ------
    ReworkError
        If there is no such day yet.
    """
    rows = cohort.first_boots
    day = edition_day(rows, code, minimum)
    if day is None:
        raise ReworkError(
            f"Fewer than {OTHERS} others have {minimum} first boots.",
            rule="With one other, the bench's figures less your own are that one's.",
            todo="Wait until more people have enough jobs.",
        )
    kept = rows["first_boot_date"].le(day).fillna(False).to_numpy(bool)
    later = (f"first boot after {day:%Y-%m-%d}, or without a day", int((~kept).sum()))
    return replace(cohort, first_boots=rows[kept].reset_index(drop=True), ledger=cohort.ledger.then(later)), day
