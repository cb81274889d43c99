"""The technicians' page and the private page of one of them: which notebook, which name, where."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from analysis.report.exporting import slug
from analysis.report.render import page_of_log


def publish_technicians(folder: Path, out: Path, say: Callable[[str], None]) -> Path:
    """Publish ``technicians.html``.

    Parameters
    ----------
    folder : Path
        The log.
    out : Path
        Folder of the page.
    say : callable
        Receives progress.

    Raises
    ------
    ReworkError
        If the log cannot be used or holds no first boot, or the page cannot be made; an earlier page stays.
    """
    from analysis.questions.comparable import comparable_log

    comparable_log(folder, say)
    say("Comparing technicians; the simulations take about a minute …")
    return page_of_log("technicians", folder, out / "technicians.html", say)


def publish_technician(folder: Path, code: str, out: Path, say: Callable[[str], None]) -> Path:
    """Publish the private page of one technician, ``technician-CODE.html``.

    Raises
    ------
    ReworkError
        As above, or if the page would give somebody else's figures away.
    """
    from analysis.questions.technicians_private import private_comparison
    from analysis.records.once import usable_log

    private_comparison(usable_log(Path(folder)), code)
    say("Comparing with the bench; the simulations take about a minute …")
    return page_of_log("technician_private", folder, out / f"technician-{slug(code)}.html", say, technician=code)
