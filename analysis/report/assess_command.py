"""What ``rework assess`` does: one intake by flags or questions, or a list of waiting ones."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from analysis.errors import ReworkError
from analysis.questions.assess import Advice, Assessment, assess, by_margin_per_hour, offer_of
from analysis.questions.intake_form import ASKED, SHARE, Intake, read_intake, read_waiting
from analysis.questions.known_bench import known_bench
from analysis.records.dictionary import DONOR_FACTS, Column, Kind
from analysis.records.entering.cells import Rules
from analysis.records.entering.session import HELP, Question, Session
from analysis.records.problems import plural
from analysis.records.settings import Settings, read_settings
from analysis.report.assess_words import (
    CAUTION,
    as_dict,
    as_json,
    assessment_lines,
    hour_cost_dict,
    hour_cost_lines,
    money,
    why_words,
)
from analysis.report.wording import interval, number, percent

Say = Callable[[str], None]
SHARE_HELP = "Of a staged fee, the percentage due at the start and kept whatever happens; the log has no column for it."


def _settings_of(folder: Path) -> Settings:
    """The shop's settings; the defaults for a folder that is not there, which is told of when the log is read."""
    return read_settings(folder) if folder.is_dir() else Settings()


def _question(column: Column, rules: Rules) -> Question:
    unit = f" ({column.unit})" if column.unit else ""
    about = f"{column.help}\nRule: {column.rule}." + "".join(f"\n  {c.code}: {c.meaning}" for c in column.choices)
    codes = ", ".join(f"{i} {code}" for i, code in enumerate(column.codes, 1))
    return Question(
        key=column.name,
        text=f"{column.title}{unit}",
        read=lambda text: rules.read(column, text),
        required=column.name == "intake_damage",
        help=about,
        options=f"  {codes}" if column.kind is Kind.CHOICE else "",
    )


def ask_intake(settings: Settings, today: dt.date, read_line: Callable[[str], str], say: Say) -> dict[str, str]:
    """Ask for an intake at the terminal; everything but the damage may stay blank."""
    rules, session = Rules(settings, today), Session(read_line, say)
    say(f"An intake, from what is known now. {HELP}")

    def flow() -> dict[str, str]:
        texts = {}
        for column in ASKED:
            texts[column.name] = session.ask(_question(column, rules))
            if column.name == "fee_basis" and texts["fee_basis"] == "staged" and not settings.staged_start_share_pct:
                texts[SHARE] = session.ask(Question(SHARE, "share due at the start (%)", str, help=SHARE_HELP))
        return texts

    return session.run(flow)


def _waiting_lines(found: tuple[Assessment, ...], settings: Settings) -> list[str]:
    currency = settings.currency
    beside = hour_cost_lines(settings) if any(each.value is not None for each in found) else []
    lines = [
        f"{plural(len(found), 'waiting intake')}, the best margin a bench hour first (for when hours are short):",
        *beside,
        "",
    ]
    rows = [["job", "recommendation", "recovery", "80 % interval", "margin", "hours", "a bench hour", "alike"]]
    for each in found:
        chance = next((c for outcome, c in each.chances.items() if outcome == "recovered"), None)
        value = each.value
        rows.append(
            [
                each.intake.name,
                str(each.advice),
                "–" if chance is None else percent(chance.mean),
                "–" if chance is None else interval(chance.low, chance.high),
                "–" if value is None else money(value.margin, currency),
                "–" if value is None else number(value.hours, 1),
                "–" if value is None else number(value.margin_per_hour, 1),
                str(each.alike.n),
            ]
        )
    reasons = [f"{each.intake.name}: {' '.join(why_words(each, currency))}" for each in found if each.value is None]
    widths = [max(len(row[at]) for row in rows) for at in range(len(rows[0]))]
    lines += ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    return [*lines, *(["", *reasons] if reasons else [])]


def assess_waiting(
    folder: Path,
    cache: Path,
    path: Path,
    *,
    start_share: str,
    take_share: float | None,
    random_seed: int,
    as_text: bool,
    today: dt.date,
    note: Say,
) -> list[str]:
    """Lines on a file of waiting intakes.

    Parameters
    ----------
    folder, cache, path : Path
        The log, where models are stored, and the CSV file.
    start_share : str
        Percent of a staged fee due at the start, for all.
    take_share : float or None
        Percent of the "discuss" intakes to take at random, with the clients' consent.
    random_seed : int
    as_text : bool
        Lines for a reader; otherwise JSON.
    today : date
    note : callable
        Receives progress.
    """
    if take_share is not None and not 0 <= take_share <= 100:
        raise ReworkError(f"--take-share {take_share:g} is not a percentage.", rule="from 0 to 100")
    intakes = read_waiting(path, _settings_of(folder), today, start_share)
    bench, settings = known_bench(folder, cache, note)
    found = by_margin_per_hour(tuple(assess(bench, intake, settings) for intake in intakes))
    taken: tuple[str, ...] = ()
    open_ones = [each.intake.name for each in found if each.advice is Advice.DISCUSS]
    if take_share is not None:
        from analysis.questions.selection import taken_at_random

        taken = taken_at_random(open_ones, take_share / 100, random_seed)
    if not as_text:
        told = [as_dict(each, settings, bench.log_hash) for each in found]
        if take_share is not None:
            told = [each | {"taken_at_random": each["name"] in taken} for each in told]
        return [as_json(told)]
    lines = _waiting_lines(found, settings)
    if take_share is not None:
        lines += [
            "",
            f"Taken at random (each of {plural(len(open_ones), 'intake')} to discuss with a chance of {take_share:g} %, random"
            f" seed {random_seed}), if their clients know of it and agree: {', '.join(taken) or 'none'}.",
        ]
    return lines


def assess_one(
    folder: Path, cache: Path, texts: Mapping[str, str], *, after_test: int, as_text: bool, today: dt.date, note: Say
) -> list[str]:
    """Lines on one intake; with ``after_test`` over 0 instead on another attempt after so many failed boot tests."""
    intake = read_intake(texts, _settings_of(folder), today)  # a wrong value is told before anything is fitted
    if after_test:
        lines, plain = another_attempt(folder, after_test, intake)
        return lines if as_text else [as_json(plain)]
    bench, settings = known_bench(folder, cache, note)
    found = assess(bench, intake, settings)
    if as_text:
        return assessment_lines(found, settings)
    return [as_json(as_dict(found, settings, bench.log_hash))]


def another_attempt(folder: Path, after: int, intake: Intake) -> tuple[list[str], dict[str, Any]]:
    """Another attempt after so many failed boot tests: in words, and as plain values.

    The chances of the intake are of a board before any test, so that neither of them stands here.
    """
    from analysis.questions.another_attempt import after_test, next_tests, worth_of
    from analysis.records.log import read_log
    from analysis.report.attempt_words import attempt_dict, attempt_words

    log = read_log(Path(folder)).without_faulty_jobs()
    settings = log.settings
    test = after_test(next_tests(log), after)
    worth = worth_of(test, offer_of(intake, settings), settings.bench_hour_cost)
    beside = [] if math.isnan(worth.cost) else hour_cost_lines(settings)
    told = {"currency": settings.currency, **hour_cost_dict(settings), "log_hash": log.hash}
    return [*attempt_words(test, worth, settings.currency, beside), "", CAUTION], {
        "another_attempt": attempt_dict(test, worth),
        **told,
    }


def _refuse_donor(texts: Mapping[str, str], after: int) -> None:
    donor = [f"--{c.name.replace('_', '-')}" for c in DONOR_FACTS if texts.get(c.name)]
    if after and donor:
        todo = "Leave them out; without --after-test they are shown as an option."
        raise ReworkError(f"With --after-test these flags would not be looked at: {', '.join(donor)}.", todo=todo)


def _refuse_odd_flags(texts: Mapping[str, str], waiting: Path | None, take_share: float | None, after: int) -> None:
    """A flag that would be passed over without a word is refused."""
    _refuse_donor(texts, after)
    facts = [name for name, text in texts.items() if text and name != SHARE]
    if after < 0:
        raise ReworkError(f"--after-test {after} is no number of failed tests.", rule="1 or more")
    if waiting is None and texts.get(SHARE) and texts.get("fee_basis") not in ("", "staged"):
        todo = "Give --fee-basis staged, or leave --start-share out."
        raise ReworkError(f"--start-share belongs to a staged fee, not to '{texts['fee_basis']}'.", todo=todo)
    if waiting is None and take_share is not None:
        raise ReworkError("--take-share needs a list to draw from.", todo="Add --waiting FILE.csv.")
    if waiting is not None and (facts or after):
        named = ", ".join(f"--{name.replace('_', '-')}" for name in (*facts, *(("after_test",) if after else ())))
        todo = "Put facts into the file, or assess one intake without --waiting."
        raise ReworkError(f"With --waiting these flags would not be looked at: {named}.", todo=todo)


def run_assess(
    folder: Path,
    cache: Path,
    texts: Mapping[str, str],
    *,
    waiting: Path | None,
    take_share: float | None,
    random_seed: int,
    after_test: int,
    as_text: bool,
    read_line: Callable[[str], str],
    say: Say,
    note: Say,
) -> None:
    """Assess and print.

    Parameters
    ----------
    folder, cache : Path
        The log, and where models are stored.
    texts : mapping of str to str
        What the flags said, by column; without any, questions are asked at the terminal.
    waiting : Path or None
        A CSV file of waiting intakes.
    take_share, random_seed, after_test, as_text
        See :func:`assess_waiting` and :func:`assess_one`.
    read_line, say, note : callable
        Read from the terminal, print a result, tell of progress.

    Raises
    ------
    ReworkError
        If the log, the file or a value cannot be used.
    """
    today = dt.date.today()
    _refuse_odd_flags(texts, waiting, take_share, after_test)
    if waiting is not None:
        for line in assess_waiting(
            folder,
            cache,
            waiting,
            start_share=texts.get(SHARE, ""),
            take_share=take_share,
            random_seed=random_seed,
            as_text=as_text,
            today=today,
            note=note,
        ):
            say(line)
        return
    said = {name: text for name, text in texts.items() if text}
    if not said:
        try:
            said = ask_intake(_settings_of(folder), today, read_line, note)
        except EOFError:
            todo = "Give the facts as flags, for example --intake-damage liquid."
            raise ReworkError("There is no terminal to ask at, or the questions were left.", todo=todo) from None
    for line in assess_one(folder, cache, said, after_test=after_test, as_text=as_text, today=today, note=note):
        say(line)
