"""The counter page and the private page of one technician's guesses: which notebook, which name, where."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from analysis.report.parameters import Value
from analysis.report.render import PROJECT, render

NOTEBOOKS = PROJECT / "notebooks"


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

    announced_log(Path(folder), say)
    given: dict[str, Value] = {"log_folder": str(Path(folder).resolve()), "start_share": float(start_share)}
    return render(NOTEBOOKS / "accept_or_decline.ipynb", given, out / "counter.html", say)


def publish_guesses(folder: Path, technician: str, out: Path, say: Callable[[str], None]) -> Path:
    """Publish the private page of one technician, ``guesses-CODE.html``."""
    from analysis.questions.counter import build_guesses
    from analysis.report.render import slug

    build_guesses(Path(folder), technician)
    given = {"log_folder": str(Path(folder).resolve()), "technician": technician}
    return render(NOTEBOOKS / "guess_ledger.ipynb", given, out / f"guesses-{slug(technician)}.html", say)
