"""The monthly review as a page: which notebook, which name, where."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from pathlib import Path

from analysis.errors import ReworkError
from analysis.questions.job_hashes import month_hashes
from analysis.questions.period import month_for, parse_month
from analysis.questions.review_summary import read_summary
from analysis.records.log import Log
from analysis.records.once import usable_log
from analysis.records.problems import plural
from analysis.records.setting_aside import strays_told
from analysis.report.render import page_of_log
from analysis.report.since_last_view import earlier_summary


def publish_review(
    folder: Path, month: str, out: Path, say: Callable[[str], None], today: dt.date | None = None
) -> Path:
    """Run the monthly review and publish its page as ``review-YYYY-MM.html``, with ``review-YYYY-MM.json`` beside it.

    The JSON file is what the next review reads; the latest one of an earlier month in ``out`` is read by this review.

    Parameters
    ----------
    folder : Path
        The log.
    month : str
        YYYY-MM (2026-9 is read too), or empty for the latest complete month.
    out : Path
        Folder of the page.
    say : callable
        Receives progress.
    today : date, optional
        Day of the run, for the latest complete month.

    Raises
    ------
    ReworkError
        If the log cannot be used or the page cannot be made; an earlier page stays.
    """
    folder, month = Path(folder).resolve(), _month_asked(month)
    say(f"Reading the log in {folder.name} …")
    # Faults of the log are told here, before a process is started for nothing.
    log = usable_log(folder)
    chosen = month_for(log, month, today)
    if not month and chosen < log.last_date.to_period("M") - 1:
        say(
            f"{chosen} is the latest complete month with entries; the last entry of the log is of {log.last_date:%Y-%m-%d}."
        )
    if log.jobs_set_aside:
        told = plural(log.jobs_set_aside, "job with faults is", "jobs with faults are")
        say(f"{told} set aside; 'rework check' lists {'it' if log.jobs_set_aside == 1 else 'them'}.")
    if strays := strays_told(log.strays_left_out):
        say(f"{strays} 'rework check' lists the faults.")
    place = out / f"review-{chosen}.html"
    if replaces_another(place.with_suffix(".json"), log):
        say(
            f"{place.name} in {out.name or out} is of another log: none of its jobs is the same in this one. It is replaced;"
            " to keep it, stop now and give --out another folder."
        )
    say(f"Making the review of {chosen} …")
    last = earlier_summary(out, str(chosen))
    before = str(last.resolve()) if last else ""
    return page_of_log("monthly_review", folder, place, say, month=str(chosen), last_review=before)


def replaces_another(summary: Path, log: Log) -> bool:
    """Whether the review that left a summary was made from another log: no job of it has the same code and content."""
    try:
        there = read_summary(summary)
    except ReworkError:
        return False  # not to be told from its damaged summary
    if there is None:
        return False
    known = {item for jobs in there.months.values() for item in jobs.items()}
    # Shops number their jobs alike, so that codes alone do not tell two logs apart.
    now = {item for jobs in month_hashes(log, there.month).values() for item in jobs.items()}
    return bool(known) and known.isdisjoint(now)


def _month_asked(text: str) -> str:
    """Return a month as YYYY-MM, also when written 2026-9; empty for none. Looked at before a long log is read.

    Raises
    ------
    ReworkError
        If it is no month.
    """
    written = re.fullmatch(r"\s*([0-9]{4})[-/.]([0-9]{1,2})\s*", text)
    month = f"{written[1]}-{int(written[2]):02}" if written else text.strip()
    return str(parse_month(month)) if month else ""
