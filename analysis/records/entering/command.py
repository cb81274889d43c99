"""What ``rework enter`` does."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from analysis.errors import LogError
from analysis.records.entering.day import Day, LeftError
from analysis.records.entering.desk import Desk
from analysis.records.entering.entry import Entry
from analysis.records.entering.flags import entry_of
from analysis.records.entering.presets import write_template
from analysis.records.entering.session import HELP, Session
from analysis.records.entering.storing import HalfWrittenError, Stored, kept_answers, recover, store
from analysis.records.entering.trial import RefusedEntryError
from analysis.records.problems import quoted

Say = Callable[[str], None]


def _kept(entry: Entry, folder: Path, error: LogError) -> LogError:
    """The same error, with the answers saved."""
    todo = f"{error.todo} {kept_answers(entry, folder)}".lstrip()
    return LogError(error.found, rule=error.rule, todo=todo, where=error.where)


def _told(stored: Stored, say: Say) -> None:
    if stored.told:
        say(stored.told)
    for problem in stored.warnings:
        say(problem.line_text())
    say(f"Written: job {stored.job} in {', '.join(stored.files)}. The files before it are kept as NAME.csv.previous.")


def enter_by_flags(
    folder: Path, job: str, settings: Sequence[str], presets: Sequence[str], today: dt.date, say: Say
) -> str:
    """Enter what the flags say.

    Returns
    -------
    str
        The job's code.

    Raises
    ------
    ReworkError
        If a flag cannot be taken, the entry brings a fault, or the log cannot be written.
    """
    if not job:
        raise LogError("no job is named.", todo="Name it with --job CODE, or --job next for the next free code.")
    if told := recover(folder):
        say(told)
    entry = entry_of(Desk.of(folder, today), job, settings, presets)
    stored = store(folder, entry, today)
    for name, text in entry.cells.items():
        if entry.seen[name] not in ("", text):
            say(f"NOTE: {name} of job {stored.job} was {quoted(entry.seen[name])} and is now {quoted(text)}.")
    _told(stored, say)
    return stored.job


def enter_saved(folder: Path, path: Path, job: str, today: dt.date, say: Say) -> str:
    """Enter answers that were kept in a file; ``job`` gives a new job another code."""
    if told := recover(folder):
        say(told)
    entry = Entry.from_json(path.read_bytes().decode("utf-8", "replace"), str(path))
    if job and not entry.new:
        todo = "Leave --job out."
        raise LogError(f"the answers continue job {entry.job}.", rule="only a new job's code can be changed", todo=todo)
    stored = store(folder, replace(entry, job=job or entry.job), today)
    _told(stored, say)
    say(f"{path} can be deleted.")
    return stored.job


def enter_at_the_bench(folder: Path, job: str, today: dt.date, read_line: Callable[[str], str], say: Say) -> str:
    """Ask for an entry and write it.

    Returns
    -------
    str
        The job's code; empty when the person left.

    Raises
    ------
    ReworkError
        If the log cannot be read or written; the answers are kept then.
    KeyboardInterrupt
        When the questions are left; the log is untouched.
    """
    if told := recover(folder):
        say(told)
    begun = time.monotonic()
    session = Session(read_line, say)
    day = Day(session, Desk.of(folder, today), job)
    say(HELP)
    try:
        while True:
            entry = session.run(day.entry)
            try:
                stored = store(folder, entry, today)
                break
            except RefusedEntryError as error:  # someone wrote meanwhile what it does not fit any more
                say(str(error))
                day.desk = Desk.of(folder, today)
                session.back(day.keys_of(error.problems))
            except HalfWrittenError:  # its journal holds the answers
                raise
            except LogError as error:
                raise _kept(entry, folder, error) from None
    except LeftError:
        say("Left; the log is untouched.")
        return ""
    except EOFError:
        raise KeyboardInterrupt from None
    _told(stored, say)
    if stored.job != entry.job:
        say(f"NOTE: {entry.job} was taken meanwhile; this job is {stored.job}. Correct it on the job's label.")
    minutes, seconds = divmod(round(time.monotonic() - begun), 60)
    say(f"{session.prompts} answers in {minutes} min {seconds} s.")
    return stored.job


def enter(
    folder: Path,
    job: str,
    *,
    settings: Sequence[str],
    presets: Sequence[str],
    answers: Path | None,
    write_presets: bool,
    today: dt.date,
    read_line: Callable[[str], str],
    say: Say,
) -> None:
    """Enter a job the way that the flags ask for; without flags by questions.

    Raises
    ------
    ReworkError
        If it cannot be done; the log is as it was.
    """
    if write_presets:
        say(f"{write_template(folder)}: take the # away and put in your own values.")
    elif answers:
        enter_saved(folder, answers, job, today, say)
    elif settings or presets:
        enter_by_flags(folder, job, settings, presets, today, say)
    else:
        enter_at_the_bench(folder, job, today, read_line, say)
