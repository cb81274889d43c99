"""The technicians' page and the private page of one of them: which notebook, which name, where."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from analysis.report.render import PROJECT, render, slug

NOTEBOOKS = PROJECT / "notebooks"


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
        If the log cannot be used or the page cannot be made; an earlier page stays.
    """
    from analysis.records.once import announced_log

    folder = Path(folder).resolve()
    announced_log(folder, say)
    say("Comparing technicians; the simulations take about a minute …")
    path = render(NOTEBOOKS / "technicians.ipynb", {"log_folder": str(folder)}, out / "technicians.html", say)
    say(f"Page written to {path}")
    return path


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
    given = {"log_folder": str(Path(folder).resolve()), "technician": code}
    path = render(NOTEBOOKS / "technician_private.ipynb", given, out / f"technician-{slug(code)}.html", say)
    say(f"Private page written to {path}; it is for {code} alone.")
    return path
