"""All rules in one list, and the ranges that the schemas declare."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import pandas as pd

from analysis.records import rules_bench, rules_jobs, rules_keys
from analysis.records.dictionary import BY_NAME
from analysis.records.problems import Problem, Severity
from analysis.records.rulebook import Book

RULES: tuple[Callable[[Book], list[Problem]], ...] = (
    rules_keys.unique_keys,
    rules_keys.existing_keys,
    rules_keys.earlier_jobs,
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
)


def all_rules(book: Book) -> list[Problem]:
    """Every problem that the rules find."""
    return [problem for rule in RULES for problem in rule(book)]


def range_problems(tables: Mapping[str, pd.DataFrame], refused: Mapping[str, set[tuple[int, str]]]) -> list[Problem]:
    """Numbers out of range and required cells left blank, by the schemas; refused cells are not told of twice."""
    from analysis.records.schemas import failures  # pandera is slow to import and not needed for `rework column`

    out = []
    for name, frame in tables.items():
        for at, column_name, check in failures(name, frame) if len(frame) else []:
            if (at, column_name) in refused.get(name, set()):
                continue
            column, row = BY_NAME[name][column_name], frame.iloc[at]
            if check == "blank":
                found, rule, code = "blank", f"always filled; {column.rule}", "blank"
                todo = f"Fill it in. It is: {column.help}"
            else:
                found, rule, code = rules_bench.text_of_number(row[column_name]), column.rule, "range"
                todo = rules_bench.range_todo(column_name, float(row[column_name]), column.high)
            job = row["job_id"] if "job_id" in frame and not pd.isna(row["job_id"]) else ""
            line = int(row["_line"])
            out.append(
                Problem(BY_NAME[name].file, line, str(job), column_name, found, rule, todo, Severity.FAULT, code)
            )
    return out
