"""All rules in one list, and the ranges that the schemas declare."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from analysis.records import rules_bench, rules_fahrenheit, rules_jobs, rules_keys, rules_privacy
from analysis.records.dictionary import BY_NAME
from analysis.records.problems import Problem, Severity
from analysis.records.rulebook import Book

RULES: tuple[Callable[[Book], list[Problem]], ...] = (
    rules_keys.unique_keys,
    rules_keys.existing_keys,
    rules_keys.earlier_jobs,
    rules_keys.chains_come_to_an_end,
    rules_jobs.sums_are_no_jobs,
    rules_jobs.not_taken_means_no_work,
    rules_jobs.closed_jobs_are_complete,
    rules_jobs.first_boot_agrees,
    rules_jobs.outcome_agrees,
    rules_jobs.boot_tests_in_order,
    rules_bench.chips_come_from_the_client,
    rules_bench.pads_agree,
    rules_bench.work_belongs_to_a_test,
    rules_bench.bismuth_under_leaded_balls,
    rules_bench.installs_melt_the_balls,
    rules_bench.preheats_are_warm,
    rules_fahrenheit.fahrenheit_in_range,
    rules_privacy.no_personal_data,
)


def all_rules(book: Book) -> list[Problem]:
    """Every problem that the rules find; a cell that breaks several rules is told of once, by the first."""
    found = [problem for rule in RULES for problem in rule(book)]
    first: dict[tuple[str, int, str], Problem] = {}
    for problem in sorted(found, key=lambda p: p.severity is not Severity.FAULT):
        first.setdefault((problem.file, problem.line, problem.column), problem)
    return list(first.values())


def range_problems(book: Book) -> tuple[list[Problem], dict[str, set[tuple[int, str]]]]:
    """Numbers out of range and required cells left blank, by the schemas.

    Returns
    -------
    list of Problem
        Cells that were refused already are not told of twice.
    dict of str to set of (row position, column)
        All cells that are known to be faulty now, for the rules that read them.
    """
    from analysis.records.schemas import failures  # pandera is slow to import and not needed for `rework column`

    out = []
    refused = {name: set(cells) for name, cells in book.refused.items()}
    for name, frame in book.tables.items():
        for at, column_name, check in failures(name, frame) if len(frame) else []:
            if book.was_refused(name, at, (column_name,)):
                continue
            refused.setdefault(name, set()).add((at, column_name))
            column = BY_NAME[name][column_name]
            if check == "blank":
                found, rule, code = "blank", f"always filled; {column.rule}", "blank"
                todo = f"Fill it in. It is: {column.help}"
            else:
                value = frame[column_name].iloc[at]
                found, rule, code = rules_bench.text_of_number(value), column.rule, "range"
                todo = rules_bench.range_todo(column_name, float(value))
                if rules_fahrenheit.reads_like_fahrenheit(column_name, float(value)):
                    rule = f"{rule}, {rules_fahrenheit.RULE}"
            job = frame["job_id"].iloc[at] if "job_id" in frame and not pd.isna(frame["job_id"].iloc[at]) else ""
            line = int(frame["_line"].iloc[at])
            out.append(
                Problem(BY_NAME[name].file, line, str(job), column_name, found, rule, todo, Severity.FAULT, code)
            )
    return out, refused
