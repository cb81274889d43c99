"""The counter page and the private page of one technician's guesses: which notebook, which name, where."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from analysis.report.exporting import slug
from analysis.report.render import page_of_log


def publish_counter(folder: Path, start_share: float, out: Path, say: Callable[[str], None]) -> Path:
    """Publish ``counter.html``.

    Parameters
    ----------
    folder : Path
        The log.
    start_share : float
        Percent of staged fees due at the start, for the replay.
    out : Path
        Folder of the page.
    say : callable
        Receives progress.

    Raises
    ------
    ReworkError
        If the log cannot be used or the page cannot be made; an earlier page stays.
    """
    from analysis.records.once import announced_log

    announced_log(folder, say)
    return page_of_log("accept_or_decline", folder, out / "counter.html", say, start_share=float(start_share))


def publish_guesses(folder: Path, technician: str, out: Path, say: Callable[[str], None]) -> Path:
    """Publish the private page of one technician, ``guesses-CODE.html``."""
    from analysis.questions.counter import build_guesses

    build_guesses(folder, technician)
    return page_of_log("guess_ledger", folder, out / f"guesses-{slug(technician)}.html", say, technician=technician)
