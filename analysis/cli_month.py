"""The commands ``rework review``, ``month`` and ``index``: arguments only."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from analysis.cli_shared import REPORTS, log_or_demo, out_argument, page_arguments

KEPT = REPORTS / ".kept"  # what the cells of pages showed; may be deleted at any time


def _review(args: argparse.Namespace) -> int:
    import datetime as dt

    from analysis.report.monthly import publish_review

    path = publish_review(log_or_demo(args), args.month, args.out, say=print, today=dt.date.today())
    print(f"Review written to {path}")
    return 0


def _month(args: argparse.Namespace) -> int:
    from analysis.errors import RenderError
    from analysis.report.month import publish_month

    try:
        publish_month(log_or_demo(args), args.month, args.out, say=print, keep=KEPT)
    except RenderError:
        if args.out.is_dir():
            _index(args)  # a page that failed takes no other along
        raise
    return _index(args)


def _index(args: argparse.Namespace) -> int:
    from analysis.report.index_page import publish_index

    publish_index(args.out, say=print)
    return 0


def add_month_commands(add: Callable[..., argparse.ArgumentParser]) -> None:
    """Add the commands that make the review, every page of a month, and the index of a folder of pages.

    Parameters
    ----------
    add : callable
        Makes a command from its name, what runs it, what it does and an example.
    """
    review = add(
        "review",
        _review,
        "Make the monthly review, one HTML page.",
        "rework review my_log --month 2024-09",
        more="Without --month the latest month that is over is taken: the log has an entry of its last day or later, or"
        " it is the month before today and the log's last entry lies in it. Leave review-YYYY-MM.json beside the page:"
        " the next review in the same folder reads it and says what became of what was to be watched.",
        guide="before_the_monthly_meeting",
    )
    page_arguments(review)
    review.add_argument("--month", default="", metavar="YYYY-MM", help="without it, the latest complete month")
    month = add(
        "month",
        _month,
        "Make every page of the month, and an index of them.",
        "rework month my_log --month 2024-09",
        more="Side by side: review, accept or decline, techniques, technicians, log check. Private pages are not among"
        " them. What has not changed since is not worked out again.",
        guide="before_the_monthly_meeting",
    )
    month.add_argument("--month", default="", metavar="YYYY-MM", help="without it, the latest complete month")
    page_arguments(month)
    index = add(
        "index",
        _index,
        "Make the index alone: pages, earlier months, guides.",
        "rework index --out reports",
        more="index.html of a folder of pages: each with the sentences of its first screen. No private page is named.",
    )
    out_argument(index)
