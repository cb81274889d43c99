"""The small JSON file that each review leaves beside its page for the next one: its layout, written and read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from analysis.errors import ReworkError
from analysis.questions.job_hashes import digest
from analysis.questions.period import parse_month

FORMAT = 1
_MONTH = {"type": "string", "pattern": r"^\d{4}-(0[1-9]|1[0-2])$"}
_TEXT = {"type": "string"}
SCHEMA: dict[str, Any] = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "title": "Summary of a monthly review, read by the next one",
    "type": "object",
    "required": ["format", "month", "log_hash", "code_version", "watched", "limits", "months"],
    "additionalProperties": False,
    "properties": {
        "format": {"const": FORMAT, "description": "Version of this layout."},
        "month": {**_MONTH, "description": "Month reviewed, YYYY-MM."},
        "log_hash": {**_TEXT, "description": "SHA-256 of the whole log as read."},
        "code_version": {**_TEXT, "description": "Version of the program."},
        "watched": {
            "type": "array",
            "description": "What the review said would be watched.",
            "items": {
                "type": "object",
                "required": ["key", "words", "stood", "value", "n"],
                "additionalProperties": False,
                "properties": {
                    "key": {**_TEXT, "description": "What it is, for the next review: factor and code, or a chart."},
                    "words": {**_TEXT, "description": "The sentence of the review."},
                    "stood": {**_TEXT, "description": "Where it stood then, in words with its number of jobs."},
                    "value": {"type": ["number", "null"], "description": "Its number then, null without one."},
                    "n": {"type": "integer", "minimum": 0, "description": "Jobs behind the number."},
                },
            },
        },
        "limits": {
            "type": "array",
            "description": "Limits of the charts in force, enough to simulate each of them again.",
            "items": {
                "type": "object",
                "required": ["chart", "since", "value", "rate", "jobs", "draws", "error", "rng_seed"],
                "additionalProperties": False,
                "properties": {
                    "chart": {**_TEXT, "description": "Name of the chart."},
                    "since": {**_TEXT, "description": "Day from which the limit holds, YYYY-MM-DD."},
                    "value": {"type": "number", "description": "The chart signals at or above it."},
                    "rate": {"type": "number", "description": "Stated chance of a false alarm within these jobs."},
                    "jobs": {"type": "integer", "description": "Jobs the rate is for: a year's."},
                    "draws": {"type": "integer", "description": "Simulated runs."},
                    "error": {"type": "number", "description": "Monte Carlo error of the rate."},
                    "rng_seed": {"type": "integer", "description": "Random seed of the simulation."},
                },
            },
        },
        "months": {
            "type": "object",
            "description": "For each month of first boots (of receipt where there was none yet): jobs as hashes.",
            "propertyNames": _MONTH,
            "additionalProperties": {
                "type": "object",
                "required": ["hash", "jobs"],
                "additionalProperties": False,
                "properties": {
                    "hash": {**_TEXT, "description": "SHA-256 of the month's jobs."},
                    "jobs": {
                        "type": "object",
                        "description": "Hash of a job's code to hash of what the log held of it.",
                        "additionalProperties": _TEXT,
                    },
                },
            },
        },
    },
}


@dataclass(frozen=True)
class Watched:
    """One thing a review said would be watched.

    Parameters
    ----------
    key : str
        What it is: factor and code ("donor_lot LOT-19") or the name of a chart.
    words : str
        The sentence of the review.
    stood : str
        Where it stood then, in words with its number of jobs.
    value : float or None
        Its number then.
    n : int
        Jobs behind the number.
    """

    key: str
    words: str
    stood: str
    value: float | None
    n: int


@dataclass(frozen=True)
class Summary:
    """What one review leaves for the next; ``months`` maps YYYY-MM to hash of job code to hash of content.

    ``limits`` are the charts' limits in force (see :data:`SCHEMA`).
    """

    month: pd.Period
    log_hash: str
    code_version: str
    watched: tuple[Watched, ...]
    months: Mapping[str, Mapping[str, str]]
    limits: tuple[Mapping[str, Any], ...] = ()


def summary_text(summary: Summary) -> str:
    """The summary as the JSON text that stands beside the page."""
    months = {
        name: {"hash": digest(json.dumps(jobs, sort_keys=True)), "jobs": dict(jobs)}
        for name, jobs in summary.months.items()
    }
    content = {
        "format": FORMAT,
        "month": str(summary.month),
        "log_hash": summary.log_hash,
        "code_version": summary.code_version,
        "watched": [vars(each) for each in summary.watched],
        "limits": [dict(each) for each in summary.limits],
        "months": months,
    }
    return json.dumps(content, indent=1, allow_nan=False, ensure_ascii=False) + "\n"


def read_summary(path: Path) -> Summary | None:
    """Read what the last review left; None where there is no file.

    Raises
    ------
    ReworkError
        If the file is not what a review writes.
    """
    if not path.is_file():
        return None
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        _refuse_other_layouts(content)
        months = {name: dict(entry["jobs"]) for name, entry in content["months"].items()}
        for name, jobs in months.items():
            if content["months"][name]["hash"] != digest(json.dumps(jobs, sort_keys=True)):
                raise ValueError(f"the hash of {name} does not fit its jobs")
        watched = tuple(Watched(**each) for each in content["watched"])
        month = parse_month(content["month"])
        limits = tuple(dict(each) for each in content["limits"])
        return Summary(month, str(content["log_hash"]), str(content["code_version"]), watched, months, limits)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, ReworkError) as error:
        raise ReworkError(
            f"The summary of the last review cannot be used ({_plain(error)}).",
            rule="It is the JSON file that a review writes beside its page and is never edited by hand.",
            todo="Make the review of the earlier month again, or move the file away to go on without it.",
            where=str(path),
        ) from error


def _plain(error: Exception) -> str:
    """The reason without the names of Python's own errors."""
    return error.found if isinstance(error, ReworkError) else str(error) or "it is damaged"


def _refuse_other_layouts(content: Any) -> None:
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise ValueError(f"its layout is not number {FORMAT}")
    missing = [key for key in SCHEMA["required"] if key not in content]
    if missing:
        raise ValueError(f"it lacks {', '.join(missing)}")
