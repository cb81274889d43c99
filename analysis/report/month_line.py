"""What an owner asks of a month before all else: devices in, accepted, declined, closed, data recovered."""

from __future__ import annotations

import pandas as pd

from analysis.cohort.outcomes import Ending, FirstBoot
from analysis.questions.review import Review
from analysis.records.problems import plural
from analysis.report.page import MONTH_IN_NUMBERS, Statement
from analysis.report.wording import listed


def month_line(review: Review) -> Statement:
    """Received and closed in the month, with how many of the closed were recovered."""
    jobs, month = review.cohort.jobs, review.month
    mine = jobs[jobs["received_month"].eq(month)]
    came = mine[mine["ending"].ne(Ending.REPEAT)]
    again = len(mine) - len(came)
    ended = jobs[jobs["ended_date"].dt.to_period("M").eq(month)]
    closed = ended[~ended["ending"].isin([Ending.NOT_ACCEPTED, Ending.REPEAT, Ending.OPEN])]
    recovered = int(closed["ending"].eq(Ending.RECOVERED).sum())
    accepted = int(came["ending"].ne(Ending.NOT_ACCEPTED).sum())
    parts = [f"{accepted} accepted", f"{_status(came, FirstBoot.DECLINED)} declined"]
    withdrawn = _status(came, FirstBoot.WITHDRAWN)
    parts += [f"{withdrawn} withdrawn"] if withdrawn else []
    told = f"{plural(len(came), 'device')} came in: {listed(parts)}." if len(came) else "No device came in."
    shut = (
        f"{plural(len(closed), 'job')} closed; data recovered from {recovered} of {len(closed)}."
        if len(closed)
        else "No job was closed."
    )
    caution = "Not a rate of success, for quick jobs close first."
    where = "That rate is under 'Recovered, by the month the job came in'."
    back = [f"{plural(again, 'further attempt')} came in on a board counted before."] if again else []
    detail = [*([caution, where] if len(closed) else []), *back]
    return Statement(MONTH_IN_NUMBERS, f"{told} {shut}", " ".join(detail))


def _status(came: pd.DataFrame, status: FirstBoot) -> int:
    return int(came["first_boot_status"].eq(status).sum())
