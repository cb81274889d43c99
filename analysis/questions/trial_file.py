"""The list of a plan read back with its jobs: the lots as drawn, the header as fixed, or a refusal that says where."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.errors import ReworkError
from analysis.questions.contrasts import DECLARED, Contrast
from analysis.questions.trial_plan import CODE, COLUMNS, FEWEST_JOBS, MOST_JOBS, check_of, draw_lines
from analysis.records.log import Log

CONSENTED, REFUSED = ("yes", "y", "true", "1", "x"), ("no", "n", "false", "0", "-", "–", "")
LARGEST = 1 << 22  # bytes
DIGITS = 6  # of a line's number; a plan has at most some thousand lines
AS_WRITTEN = (
    "Use the file as 'rework compare --plan-out' wrote it, with only job_id, written_consent and note filled in."
)


@dataclass(frozen=True)
class Fixed:
    """What the plan fixed: contrast, jobs, first look, seed, and the day after which jobs count."""

    contrast: Contrast
    jobs: int
    first_look: int
    rng_seed: int
    after: pd.Timestamp


def refused(path: Path, found: str, rule: str, todo: str) -> ReworkError:
    """A refusal that names the file."""
    return ReworkError(found, rule=rule, todo=todo, where=path.name)


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST:
            raise refused(
                path, "is too large for a plan", "A plan has some hundred lines.", "Name the plan's own file."
            )
        data = path.read_bytes()
    except OSError as error:
        rule = "The file of 'rework compare --plan-out'."
        raise refused(path, f"cannot be read: {error.strerror}", rule, "Name the list that was written.") from None
    for encoding in ("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig", "cp1252"):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    return data.decode("cp1252", errors="replace")


def _rows(text: str, path: Path) -> list[list[str]]:
    first = text.partition("\n")[0]
    delimiter = max((",", ";", "\t"), key=first.count)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as error:
        raise refused(path, f"is no list of lines ({error})", "A plan is a CSV file.", AS_WRITTEN) from None
    return [[cell.strip() for cell in row] for row in rows if any(cell.strip() for cell in row)]


def read_plan(path: Path) -> pd.DataFrame:
    """Read the lines of a plan as text; columns that a plan does not have are left aside.

    Raises
    ------
    ReworkError
        If the file cannot be read, lacks a column or has it twice, or holds no line.
    """
    rows = _rows(_text(path), path)
    heads = rows[0] if rows else []
    for name in COLUMNS:
        if heads.count(name) != 1 and (name != "note" or heads.count(name)):
            found = f"has the column {name} twice" if name in heads else f"has no column {name}"
            raise refused(path, found, f"A plan has the columns {', '.join(COLUMNS)}, each once.", AS_WRITTEN)
    cells = [[*row, *[""] * len(heads)][: len(heads)] for row in rows[1:]]
    if not cells:
        raise refused(path, "holds no line", "A plan has a line for every coming job.", AS_WRITTEN)
    frame = pd.DataFrame(cells, columns=heads, dtype=object)
    return frame[[name for name in COLUMNS if name in heads]]


def _header(frame: pd.DataFrame, path: Path) -> tuple[Fixed, int]:
    """What was fixed beforehand, and how many lines the list has."""
    codes = frame["plan"].unique()
    found = CODE.match(str(codes[0])) if len(codes) == 1 else None
    contrast = next((c for c in DECLARED if found and c.name == found["name"]), None)
    if found is None or contrast is None:
        rule = "Every line carries the same plan: its contrast, seed, jobs, look, lines, day and check."
        todo = "Restore the column 'plan' from the printed list; a list without 'check' must be drawn anew."
        raise refused(path, "does not say which plan it is", rule, todo)
    jobs, look, day = int(found["jobs"]), int(found["look"]), pd.to_datetime(found["day"], errors="coerce")
    as_drawn = check_of(found["fixed"]) == found["check"] and FEWEST_JOBS <= jobs <= MOST_JOBS and look == jobs // 2
    if not as_drawn or pd.isna(day):
        rule = "Contrast, seed, jobs, look, lines and day were fixed before the first lot; 'check' is made from them."
        todo = "Restore the column 'plan' from the printed list. A plan changed on the way is no plan: draw a new one."
        raise refused(path, f"'{codes[0]}' is not a plan that was drawn", rule, todo)
    return Fixed(contrast, jobs, look, int(found["seed"]), day), int(found["lines"])


def fixed_of(frame: pd.DataFrame, path: Path) -> Fixed:
    """What was fixed beforehand; every line must say the same, be there once, and have the lot of the seed.

    Raises
    ------
    ReworkError
        If it does not.
    """
    fixed, lines = _header(frame, path)
    for at in np.flatnonzero(~frame["line"].map(_is_number)):
        found = f"{frame['damage_class'].iloc[at]}, line '{frame['line'].iloc[at]}': no number of a line"
        raise refused(path, found, "Lines are numbered from 1 in each damage class.", "Restore the number.")
    for damage, own in frame.groupby("damage_class", sort=True):
        _refuse_other_lots(str(damage), own.assign(number=own["line"].astype(int)), fixed, path)
    if len(frame) != lines:
        raise refused(
            path,
            f"holds {len(frame)} of the {lines} lines drawn",
            "Lines without a job stay in the list; a deleted line is a lot that did not please.",
            "Restore the lines from the printed list.",
        )
    return fixed


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) <= DIGITS and int(text) > 0


def _refuse_other_lots(damage: str, own: pd.DataFrame, fixed: Fixed, path: Path) -> None:
    """Refuse a class whose lines are not 1, 2, 3 … with the lots of the seed."""
    for place, number in enumerate(sorted(own["number"]), 1):
        if number != place:
            found = f"{damage}, line {number} stands twice" if number < place else f"{damage}, line {place} is missing"
            rule = "Lines without a job stay in the list, and each line is there once."
            raise refused(path, found, rule, "Restore the lines from the printed list.")
    try:
        drawn = draw_lines(damage, fixed.contrast.arms, len(own), fixed.rng_seed)
    except ValueError:
        raise refused(path, f"'{damage}' is no damage class", "The lines keep their class.", "Restore it.") from None
    for number, way in zip(own["number"], own["way"], strict=True):
        if drawn[number - 1] != way:
            rule = "The lots are those of the seed; a changed line makes the plan worthless."
            raise refused(path, f"{damage}, line {number}: '{way}' was not drawn", rule, "Restore the line.")


def used_lines(frame: pd.DataFrame, log: Log, path: Path) -> pd.DataFrame:
    """Lines with a job: each job once, known to the log, of the line's damage class, consent noted in plain words.

    Returns
    -------
    DataFrame
        The lines with ``number`` and ``agreed`` (whether written consent is noted) beside the columns of the plan.

    Raises
    ------
    ReworkError
        Naming the line.
    """
    used = frame[frame["job_id"].ne("")].reset_index(drop=True)
    jobs = log.tables["jobs"]
    damage = pd.Series(jobs["intake_damage"].astype(object).to_numpy(), index=jobs["job_id"].astype(str))
    used = used.assign(number=used["line"].astype(int), agreed=used["written_consent"].str.lower().isin(CONSENTED))
    told = used["written_consent"].str.lower().isin([*CONSENTED, *REFUSED])
    twice, known = used["job_id"].duplicated(), used["job_id"].isin(damage.index)
    own = used["job_id"].map(damage[~damage.index.duplicated()])

    def refuse(wrong: pd.Series, found: str, rule: str, todo: str) -> None:
        for at in np.flatnonzero(wrong)[:1]:
            line = used.iloc[at]
            says = found.format(job=line["job_id"], damage=own.iloc[at], consent=line["written_consent"])
            raise refused(path, f"{line['damage_class']}, line {line['number']}: {says}", rule, todo)

    refuse(twice, "job {job} stands on two lines", "A job takes one line.", "Mend the list.")
    refuse(
        ~known,
        "job {job} is not in the log",
        "Outcomes are taken from the log; jobs with faults are not in it.",
        "Mend the code, name the log that the plan was drawn for, or run 'rework check'.",
    )
    refuse(
        known & own.ne(used["damage_class"]),
        "job {job} came in with damage '{damage}'",
        "A job takes the next line of its own damage class, as noted at intake.",
        "Mend the list, or the log where it is wrong.",
    )
    refuse(
        ~told,
        "written_consent is '{consent}'",
        "Written consent is there or it is not.",
        "Write yes or no, or leave it blank.",
    )
    return used
