"""Columns that stand in several tables, declared once for all of them."""

from __future__ import annotations

from analysis.records.dictionary.column import Choice, Column, Kind, KnownAt, Required, Role

CHIP_ROLES = (
    Choice("processor", "the main processor"),
    Choice("memory", "the memory stacked on the processor; replaceable"),
    Choice("storage", "the storage chip that holds the data"),
)

BEFORE_TEST_HELP = (
    "The boot test this work came before: 1 for work before the first test. A blank stands for 1 where the job"
    " had at most one boot test; otherwise the work is undated, is kept out of the first-boot model and counted."
)

JOB = Column(
    "job_id",
    Kind.KEY,
    KnownAt.BENCH,
    Role.KEY,
    "The job.",
    "job",
    required=Required.ALWAYS,
    references="jobs.job_id",
    example="J-0001",
)

CHIP = Column(
    "chip_role",
    Kind.CHOICE,
    KnownAt.BENCH,
    Role.KEY,
    "Which chip.",
    "chip",
    choices=CHIP_ROLES,
    required=Required.ALWAYS,
    example="processor",
)

BEFORE_TEST = Column(
    "before_test_no",
    Kind.INTEGER,
    KnownAt.BENCH,
    Role.KEY,
    BEFORE_TEST_HELP,
    "before boot test",
    low=1,
    high=30,
    default="1",
    example="1",
)
