"""What the bench knows about its log as it is now: recalled if the log is unchanged, else made anew with a word."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from analysis.errors import LogError, ModelError
from analysis.questions.bench_model import BenchModel
from analysis.questions.stored_bench import recall, remembered_hash, store
from analysis.records.once import digest_of
from analysis.records.settings import Settings, read_settings


def known_bench(folder: Path, cache: Path, say: Callable[[str], None]) -> tuple[BenchModel, Settings]:
    """Models and settings of a log.

    Parameters
    ----------
    folder : Path
        The log; only ever read.
    cache : Path
        Where models are stored.
    say : callable
        Receives a word when models are made anew, and why.

    Raises
    ------
    LogError
        If the log cannot be read.
    """
    folder = Path(folder)
    if not (folder / "jobs.csv").is_file():
        _made(folder)  # says what is wrong with the folder
    digest = digest_of(folder)
    remembered = remembered_hash(cache, digest)
    if remembered:
        try:
            return recall(cache, remembered), read_settings(folder)
        except ModelError:
            say("The stored models cannot be used; making them again …")
    elif any(cache.glob("files-*.json")):
        say("No model is stored for the log as it is now (a stored one is refused when the log has changed); fitting …")
    else:
        say("No model is stored yet; fitting …")
    bench, settings = _made(folder)
    if digest_of(folder) != digest:
        todo = "Wait until the file is saved, then run the command again."
        raise LogError("The log changed while it was read; nothing was used.", todo=todo, where=folder.name)
    try:
        store(bench, cache, digest)
    except OSError as error:
        say(f"The models could not be stored ({error.strerror}); the next call makes them again.")
    return bench, settings


def _made(folder: Path) -> tuple[BenchModel, Settings]:
    from analysis.cohort.features import build_cohort
    from analysis.questions.bench_model import bench_model, rolled_over
    from analysis.questions.offer_rows import outcome_rows
    from analysis.records.log import read_log

    log = read_log(folder).without_faulty_jobs()
    rows = outcome_rows(build_cohort(log))
    bench = bench_model(rows, {outcome: rolled_over(each) for outcome, each in rows.items()})
    return bench, log.settings
