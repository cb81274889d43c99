"""bench.toml: the shop's own settings; every key has a default and an explanation."""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from dataclasses import MISSING, Field, dataclass, field, fields
from pathlib import Path
from typing import Any

from analysis.errors import SettingsError
from analysis.records.on_disk import not_a_file
from analysis.records.problems import Problem, Severity

FILE = "bench.toml"
# A key, and a value that begins with a letter or a sign of currency and holds no quotation mark.
_BARE_WORDS = re.compile(r"\s*(\w+)\s*=\s*([^\W\d_][^\"'#=\[\]]*?|[€$£¥])\s*(?:#.*)?")


def _setting(default: Any, explanation: str, low: float | None = None, high: float | None = None) -> Any:
    about = {"help": explanation, "low": low, "high": high}
    if isinstance(default, list):
        return field(default_factory=lambda: tuple(default), metadata=about)
    return field(default=default, metadata=about)


@dataclass(frozen=True)
class Settings:
    """Settings of one shop; see each field's explanation in the file that ``rework blank-log`` writes."""

    shop_name: str = _setting("our bench", "Name printed on your reports.")
    invented: bool = _setting(False, "true only for invented data; every page then says so.")
    currency: str = _setting("EUR", "Currency of all amounts of money.")
    bench_hour_cost: float = _setting(60.0, "What an hour at the bench costs you.", 0, 10_000)
    staged_start_share_pct: float = _setting(
        0.0,
        "Of a staged fee, the percentage due at the start and kept whatever happens; 0: asked for with each intake.",
        0,
        99,
    )
    minimum_class_n: int = _setting(10, "Groups with fewer jobs are not shown on their own.", 1, 1000)
    minimum_technician_n: int = _setting(
        20, "Technicians with fewer jobs are not shown; at least 5. Common practice, no source.", 5, 1000
    )
    minimum_at_risk: int = _setting(10, "Curves over time stop where fewer jobs remain.", 2, 1000)
    month_complete_share: float = _setting(
        0.9, "Share of a month's jobs that must be closed before its recovery rate is shown.", 0.5, 1
    )
    smallest_difference_points: float = _setting(
        10.0, "Smallest difference worth acting on, in percentage points.", 1, 50
    )
    extra_contrasts: tuple[str, ...] = _setting(
        [],
        "Comparisons of techniques of your own, marked exploratory on the page, for example "
        '["few passes: clean_passes_per_side <= 3"].',
    )
    missing_codes: tuple[str, ...] = _setting(
        [], 'Texts that mean "not recorded" in your files besides a blank, for example ["n/a", "?"].'
    )
    date_order: str = _setting(
        "", 'How your dates like 03/04/2025 are meant: "day_first" or "month_first"; blank refuses them.'
    )


def _default(item: Field[Any]) -> Any:
    if item.default is not MISSING:
        return item.default
    return item.default_factory() if callable(item.default_factory) else None


def _fault(key: str, found: object, rule: str, todo: str) -> SettingsError:
    shown = json.dumps(found, ensure_ascii=False, default=str)
    return SettingsError(f"{key} = {shown}", rule=rule, todo=todo, where=FILE)


def _checked(item: Field[Any], value: Any) -> Any:
    default = _default(item)
    if isinstance(default, tuple):
        if not isinstance(value, list) or not all(isinstance(entry, str) for entry in value):
            raise _fault(item.name, value, "a list of texts in quotes", 'Write for example ["n/a"].')
        return tuple(value)
    if isinstance(default, bool) or isinstance(value, bool):
        if not (isinstance(default, bool) and isinstance(value, bool)):
            raise _fault(item.name, value, "true or false" if isinstance(default, bool) else "not true or false", "")
        return value
    if isinstance(default, str):
        if not isinstance(value, str):
            raise _fault(item.name, value, "a text in quotes", f'Write {item.name} = "…".')
        if item.name == "date_order" and value not in ("", "day_first", "month_first"):
            raise _fault(item.name, value, '"day_first", "month_first" or ""', "Choose one of them.")
        return value
    if not isinstance(value, int | float) or (isinstance(default, int) and not isinstance(value, int)):
        kind = "a whole number" if isinstance(default, int) else "a number"
        raise _fault(item.name, value, kind, "Write it without quotes.")
    low, high = item.metadata["low"], item.metadata["high"]
    if not low <= value <= high:
        raise _fault(item.name, value, f"from {low:g} to {high:g}", "Choose a value in this range.")
    return type(default)(value)


def examine_settings(folder: Path) -> tuple[Settings, list[Problem]]:
    """Read bench.toml of a log; a key that cannot be used is a fault and keeps its default."""
    path = folder / FILE
    if what := not_a_file(path):
        todo = "Take it away, or put the file itself in its place."
        return Settings(), [_problem(0, "", what, "a file", todo)]
    if not path.exists():
        return Settings(), []
    try:
        text = path.read_bytes().decode("utf-8-sig")
        given = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        at = re.search(r"line (\d+)", str(error))
        line = int(at[1]) if at else 0
        rule = "lines of the form key = value, words in quotation marks, numbers without"
        todo = f"{_as_toml(path, line)} Every setting has its default until then."
        return Settings(), [_problem(line, "", f"what cannot be read: {error}", rule, todo)]
    known = {item.name: item for item in fields(Settings)}
    used: dict[str, Any] = {}
    problems: list[Problem] = []
    for key, value in given.items():
        line = next((n for n, row in enumerate(text.splitlines(), 1) if re.match(rf"\W*{re.escape(key)}\b", row)), 0)
        if key not in known:
            near = difflib.get_close_matches(key, known, 1)
            hint = f"Did you mean {near[0]}?" if near else f"Known keys: {', '.join(known)}."
            problems.append(_problem(line, key, "a key that is not a setting", "only known keys", hint))
            continue
        try:
            used[key] = _checked(known[key], value)
        except SettingsError as error:
            problems.append(_problem(line, key, error.found, error.rule, error.todo))
    return Settings(**used), problems


def _as_toml(path: Path, line: int) -> str:
    """How a line that cannot be read is mended; words without quotation marks are the usual slip."""
    lines = path.read_bytes().decode("utf-8-sig", "replace").splitlines()
    words = _BARE_WORDS.fullmatch(lines[line - 1]) if 0 < line <= len(lines) else None
    if not words:
        return "Mend the line."
    key, value = words.groups()
    if value in ("True", "False"):
        return f"Write it small: {key} = {value.lower()}."
    return f'Put words in quotation marks: {key} = "{value}".'


def _problem(line: int, key: str, found: str, rule: str, todo: str) -> Problem:
    return Problem(FILE, line, "", key, found, rule, todo, Severity.FAULT, "setting")


def read_settings(folder: Path) -> Settings:
    """Read bench.toml of a log; defaults where the file or a key is missing.

    Raises
    ------
    SettingsError
        If the file is not TOML, a key is unknown, or a value is of the wrong kind or out of range; all are named.
    """
    settings, problems = examine_settings(folder)
    if problems:
        told = "\n  ".join(problem.line_text() for problem in problems)
        raise SettingsError(f"cannot be used as it stands:\n  {told}", where=FILE)
    return settings


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, tuple):
        return json.dumps(list(value), ensure_ascii=False)
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else f"{value:g}"


def settings_file(**changes: Any) -> str:
    """Text of a commented bench.toml: every key with its explanation; defaults are commented out."""
    lines = ["# Settings of this bench. A line that starts with # is a default; take the # away to change it.", ""]
    for item in fields(Settings):
        lines.append(f"# {item.metadata['help']}")
        changed = item.name in changes
        value = changes.get(item.name, _default(item))
        # TOML numbers that stand for a float need no point here: reading converts them.
        lines += [f"{'' if changed else '# '}{item.name} = {_toml(value)}", ""]
    return "\n".join(lines)
