"""boot_tests.csv: a row per boot test of a job."""

from __future__ import annotations

from analysis.records.dictionary.column import Choice, Column, Kind, KnownAt, Required, Role, Table
from analysis.records.dictionary.shared import JOB

BOOT_RESULTS = (
    Choice("data_readable", "boots and the data can be read"),
    Choice("data_partial", "boots; only part of the data can be read"),
    Choice("starts_locked", "boots to a locked screen"),
    Choice("restart_loop", "starts and restarts again and again"),
    Choice("service_mode_only", "answers only in a service mode"),
    Choice("current_no_start", "draws current but does not start"),
    Choice("no_current", "draws no current"),
    Choice("short", "short circuit"),
)

BOOT_TESTS = Table(
    name="boot_tests",
    what="a boot test: one try to start the donor",
    key=("job_id", "test_no"),
    columns=(
        JOB,
        Column(
            "test_no",
            Kind.INTEGER,
            KnownAt.BENCH,
            Role.KEY,
            "1 for the first try to boot, then 2, 3 and so on without a gap.",
            "boot test",
            low=1,
            high=30,
            required=Required.ALWAYS,
            example="1",
        ),
        Column(
            "test_date",
            Kind.DATE,
            KnownAt.BENCH,
            Role.OUTCOME,
            "The day of the test.",
            "test date",
            example="2025-03-18",
        ),
        Column(
            "bench_hours_so_far",
            Kind.NUMBER,
            KnownAt.BENCH,
            Role.OUTCOME,
            "Bench hours spent on the job up to this test.",
            "bench hours so far",
            unit="hours",
            low=0,
            high=80,
            example="5",
        ),
        Column(
            "donor_id",
            Kind.KEY,
            KnownAt.BENCH,
            Role.KEY,
            "The donor used in this test; blank means the job's own.",
            "donor",
            references="donors.donor_id",
        ),
        Column(
            "change_made",
            Kind.CHOICE,
            KnownAt.BENCH,
            Role.PREDICTOR,
            "What was changed since the test before.",
            "change made",
            choices=(
                Choice("first_install", "first try after moving the chips"),
                Choice("touch_up", "a joint heated again in place"),
                Choice("reinstall", "lifted and set down again"),
                Choice("reball_again", "balls renewed"),
                Choice("pad_repair", "pads or tracks rebuilt"),
                Choice("memory_replaced", "another memory chip"),
                Choice("donor_changed", "another donor board"),
            ),
            example="first_install",
        ),
        Column(
            "boot_result",
            Kind.CHOICE,
            KnownAt.BENCH,
            Role.OUTCOME,
            "What the donor did.",
            "boot result",
            choices=BOOT_RESULTS,
            required=Required.ALWAYS,
            example="data_readable",
        ),
    ),
)
