"""Every page of a month in one go, all at a time while the log is small."""

from __future__ import annotations

import gc
import multiprocessing
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from analysis.errors import RenderError, ReworkError
from analysis.records.log import Log
from analysis.report.kept import kept_in, pages_kept
from analysis.report.render import NOTEBOOKS, Say, can_be_copied, import_tools, import_what_cells_import

AT_ONCE = 2  # pages, of a log whose pages take much memory each; all of them below
LARGE = 20_000  # jobs
NAMES = ("monthly_review", "accept_or_decline", "techniques", "technicians", "log_check")


@dataclass(frozen=True)
class Made:
    """One page: where it is, or why the log does not carry it, or why it could not be made though it does."""

    name: str
    path: Path | None
    reason: str = ""
    failed: bool = False


@dataclass(frozen=True)
class _Order:
    folder: Path
    month: str
    out: Path


def _review(order: _Order, say: Say) -> Path:
    from analysis.report.monthly import publish_review

    return publish_review(order.folder, order.month, order.out, say)


def _counter(order: _Order, say: Say) -> Path:
    from analysis.report.counter_pages import publish_counter

    return publish_counter(order.folder, 0.0, order.out, say)


def _techniques(order: _Order, say: Say) -> Path:
    from analysis.report.technique_pages import publish_techniques

    return publish_techniques(order.folder, order.out, say)


def _technicians(order: _Order, say: Say) -> Path:
    from analysis.report.technician_pages import publish_technicians

    return publish_technicians(order.folder, order.out, say)


def _check(order: _Order, say: Say) -> Path:
    from analysis.report.check_page import publish_check

    return publish_check(order.folder, order.out, say)


# Those that take longest come first, so that none of them is left to run alone at the end of a large log's month.
PAGES: dict[str, Callable[[_Order, Say], Path]] = {
    "techniques": _techniques,
    "review": _review,
    "accept or decline": _counter,
    "technicians": _technicians,
    "log check": _check,
}


def _make(name: str, order: _Order, say: Say) -> Made:
    """Make one page; a reason the user can put right is told, and the other pages are made all the same."""
    try:
        return Made(name, PAGES[name](order, lambda text: say(f"{name}: {text.strip()}")))
    except ReworkError as error:
        return Made(name, None, str(error), isinstance(error, RenderError))


@contextmanager
def _makers(say: Say, log: Log, *, cells_will_run: bool) -> Iterator[Callable[..., Iterator[Made]]]:
    """How the pages are made: by copies of this process where the system can copy one, else one after the other."""
    from analysis.cohort.features import share_cohort

    if not can_be_copied():
        say("This process cannot be copied: the pages are made one after the other.")
        yield map
        return
    import_tools()  # once, for all
    for name in NAMES if cells_will_run else ():
        import_what_cells_import(NOTEBOOKS / f"{name}.ipynb")
    if cells_will_run:
        share_cohort(log)
    gc.freeze()  # what stands now is shared by the copies; looking through it for garbage would copy it
    sys.stdout.flush()
    try:
        copies = len(PAGES) if len(log.tables["jobs"]) < LARGE else AT_ONCE
        with ProcessPoolExecutor(copies, multiprocessing.get_context("fork")) as pool:
            yield pool.map
    finally:
        gc.unfreeze()


def publish_month(folder: Path, month: str, out: Path, say: Say, keep: Path | None = None) -> list[Path]:
    """Make the review, the counter's page, the comparisons and the log check.

    Parameters
    ----------
    folder : Path
        The log.
    month : str
        YYYY-MM, or empty for the latest complete month.
    out : Path
        Folder of the pages.
    say : callable
        Receives progress, also from the copies of this process.
    keep : Path, optional
        Folder that keeps what cells showed, so that a page is not worked out twice from the same log.

    Raises
    ------
    ReworkError
        If the log cannot be used at all, the month is none that it reaches, or a contrast of the shop's own cannot be
        read: nothing is made. If a page failed, or there is none: the others are published. Pages for which
        the log holds too little are told of.
    """
    from analysis.questions.contrasts import contrasts_for
    from analysis.questions.period import month_for
    from analysis.records.once import usable_log

    folder = Path(folder).resolve()
    # What cannot be used is told of once, before anything is started.
    log = usable_log(folder)
    if month:
        month_for(log, month)
    contrasts_for(log.settings.extra_contrasts)
    one = partial(_make, order=_Order(folder, month, out), say=say)
    with kept_in(keep), _makers(say, log, cells_will_run=pages_kept(folder) < len(PAGES)) as each:
        made = list(each(one, PAGES))
    for page in made:
        say(f"No page, {page.name}: {page.reason}" if page.path is None else f"Page written to {page.path}")
    lost = [page for page in made if page.path is None]
    if any(page.failed for page in lost) or len(lost) == len(made):
        reasons = "\n".join(f"{page.name}: {page.reason}" for page in lost)
        raise RenderError(f"{len(lost)} of {len(made)} pages could not be made.\n{reasons}")
    return [page.path for page in made if page.path is not None]
