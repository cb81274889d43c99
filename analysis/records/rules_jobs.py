"""Rules about a job as a whole: decision, dates, outcome, boot tests and cause agree."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.records.problems import Problem, Severity
from analysis.records.rulebook import Book, flag


def not_taken_means_no_work(book: Book) -> list[Problem]:
    """A declined or withdrawn job has no outcome and no bench work."""
    jobs = book.tables["jobs"]
    not_taken = jobs["decision"].isin(["declined", "withdrawn"])
    out: list[Problem] = []
    rule = "blank for a job that was declined or withdrawn"
    todo = "Clear the cell, or correct the decision."
    for column in ("outcome", "first_boot_result", "failure_cause"):
        mask = not_taken & jobs[column].notna()
        out += book.say("jobs", mask, column, rule, todo, "work-without-job", reads=("decision",))
    mask = not_taken & jobs["bench_hours"].gt(0)
    out += book.say("jobs", mask, "bench_hours", rule, todo, "work-without-job", reads=("decision",))
    for name in ("chip_sides", "heat_steps", "boot_tests"):
        rule = "no bench work on a job that was declined or withdrawn"
        todo = "Correct the job's decision, or delete the row."
        mask = np.append(not_taken.to_numpy(bool), False)[book.job_rows(name)]  # the last one: no such job
        out += book.say(name, mask, "job_id", rule, todo, "work-without-job")
    mask = jobs["decline_reason"].notna() & jobs["decision"].ne("declined")
    rule, todo = "blank unless the decision is 'declined'", "Clear the cell, or correct the decision."
    return out + book.say("jobs", mask, "decline_reason", rule, todo, "reason-unasked", reads=("decision",))


_SUMS = ("total", "totals", "subtotal", "sum", "sums", "average", "mean", "summe", "gesamt", "mittelwert")


def sums_are_no_jobs(book: Book) -> list[Problem]:
    """A line of totals below the jobs is not taken for a job without a date, nor its first word for a name."""
    jobs = book.tables["jobs"]
    mask = jobs["received_date"].isna() & jobs["job_id"].str.casefold().isin(_SUMS)
    rule, todo = "one row for each job, no line of totals", "Delete the row; reports count for themselves."
    return book.say("jobs", mask, "job_id", rule, todo, "sum-row")


def closed_jobs_are_complete(book: Book) -> list[Problem]:
    """An accepted job is open (outcome and closed_date blank) or closed (both filled, first boot known)."""
    jobs = book.tables["jobs"]
    accepted = jobs["decision"].eq("accepted")
    closed, ended = jobs["closed_date"].notna(), jobs["outcome"].notna()
    rule = "outcome and closed_date both filled, or both blank while the job is open"
    todo = "Fill in the missing one."
    reads = ("closed_date", "outcome", "decision")
    out = book.say("jobs", accepted & closed & ~ended, "outcome", rule, todo, "half-closed", reads=reads)
    out += book.say("jobs", accepted & ended & ~closed, "closed_date", rule, todo, "half-closed", reads=reads)
    tests = book.tables["boot_tests"]
    tested = book.first_row("boot_tests", np.flatnonzero(flag(tests["test_no"].eq(1)))) >= 0
    unknown = accepted & closed & ended & ~tested & jobs["first_boot_result"].isna()
    rule = "the result of boot test 1 for a closed job, here or in boot_tests.csv"
    todo = "Write the result, or not_tested if there was no boot test."
    out += book.say("jobs", unknown, "first_boot_result", rule, todo, "first-boot-missing", reads=reads, over_rows=True)
    mask = closed & jobs["closed_date"].lt(jobs["received_date"])
    rule, todo = "a day on or after received_date", "Correct one of the two dates."
    return out + book.say("jobs", mask, "closed_date", rule, todo, "closed-before-received", reads=("received_date",))


def first_boot_agrees(book: Book) -> list[Problem]:
    """first_boot_result agrees with boot_tests.csv."""
    jobs, tests = book.tables["jobs"], book.tables["boot_tests"]
    first = book.first_row("boot_tests", np.flatnonzero(flag(tests["test_no"].eq(1))))
    typed = jobs["first_boot_result"]
    at = np.flatnonzero((first >= 0) & flag(typed.notna()))
    result = tests["boot_result"].iloc[first[at]].astype(object).to_numpy()
    differs = np.zeros(len(jobs), dtype=bool)
    differs[at] = ~pd.isna(result) & (result != typed.iloc[at].astype(object).to_numpy())
    rule = "the result of boot test 1 in boot_tests.csv"
    todo = "Correct the wrong one; the cell may stay blank where boot_tests.csv has test 1."
    return book.say("jobs", differs, "first_boot_result", rule, todo, "first-boot-differs")


def outcome_agrees(book: Book) -> list[Problem]:
    """Outcome, boot tests, reversibility and cause tell the same story."""
    jobs, tests = book.tables["jobs"], book.tables["boot_tests"]
    has_tests = book.first_row("boot_tests", np.arange(len(tests))) >= 0
    readable = book.first_row("boot_tests", np.flatnonzero(flag(tests["boot_result"].eq("data_readable")))) >= 0
    recovered, lost = jobs["outcome"].eq("recovered"), jobs["outcome"].eq("not_recovered")
    rule = "a boot test with data_readable for a job that was recovered"
    todo = "Correct the outcome (data_partial alone is not recovered), or add the boot test that read the data."
    out = book.say("jobs", recovered & has_tests & ~readable, "outcome", rule, todo, "outcome-differs", over_rows=True)
    mask = recovered & ~has_tests & jobs["first_boot_result"].eq("not_tested")
    reads = ("first_boot_result",)
    out += book.say("jobs", mask, "outcome", rule, todo, "outcome-differs", reads=reads, over_rows=True)
    by_number = np.argsort(tests["test_no"].to_numpy(float, na_value=np.nan), kind="stable")
    last = book.first_row("boot_tests", by_number[::-1])
    last_readable = (last >= 0) & flag(tests["boot_result"].eq("data_readable"))[last] if len(tests) else last >= 0
    rule, todo = "recovered, when the last boot test read the data", "Look whether the outcome is right."
    warn = Severity.WARNING
    out += book.say(
        "jobs", lost & last_readable, "outcome", rule, todo, "outcome-doubtful", severity=warn, over_rows=True
    )
    mask = lost & jobs["loss_reversible"].isna()
    rule = "yes or no for a job that was not recovered"
    todo = (
        "Write no if processor or storage is lost for good, else yes. Old jobs may leave it blank: not counted as lost."
    )
    out += book.say(
        "jobs", mask, "loss_reversible", rule, todo, "reversible-missing", reads=("outcome",), severity=warn
    )
    mask = jobs["failure_cause"].notna() & recovered
    rule = "blank for a job that was recovered, unless it says why an earlier boot test failed"
    todo = "Leave it if it does, it is not counted; otherwise clear the cell, or correct the outcome."
    out += book.say("jobs", mask, "failure_cause", rule, todo, "cause-unasked", reads=("outcome",), severity=warn)
    mask = jobs["cause_evidence"].notna() & jobs["failure_cause"].isna()
    rule, todo = "blank where no cause is written", "Write the cause, or clear the cell."
    reads = ("failure_cause",)
    return out + book.say(
        "jobs", mask, "cause_evidence", rule, todo, "evidence-without-cause", reads=reads, severity=warn
    )


def boot_tests_in_order(book: Book) -> list[Problem]:
    """Test numbers run 1, 2, 3; dates and hours do not run backwards and stay within the job."""
    tests = book.tables["boot_tests"]
    ordered = tests[["test_no", "test_date", "bench_hours_so_far"]].assign(
        job=book.key_numbers("boot_tests", ["job_id"])
    )
    ordered = ordered[ordered["job"] >= 0].sort_values(["job", "test_no"], kind="stable")
    by_job = ordered.groupby("job", sort=False)
    # Repeated numbers are told of once, as duplicate keys; only gaps are told of here.
    distinct = ordered.drop_duplicates(["job", "test_no"])
    place = distinct.groupby("job", sort=False).cumcount() + 1
    gap = distinct["test_no"].ne(place).reindex(tests.index, fill_value=False)
    rule, todo = "1, 2, 3 … without a gap", "Number the tests of this job anew, or add the missing one."
    out = book.say("boot_tests", gap, "test_no", rule, todo, "test-gap", over_rows=True)
    earlier = by_job["test_date"].cummax().groupby(ordered["job"]).shift().reindex(tests.index)
    received = book.jobs_of("boot_tests", "received_date")
    closed = book.jobs_of("boot_tests", "closed_date")
    rule, todo = "a day no earlier than the test before", "Correct the dates."
    out += book.say("boot_tests", tests["test_date"].lt(earlier), "test_date", rule, todo, "test-order", over_rows=True)
    outside = tests["test_date"].lt(received) | tests["test_date"].gt(closed)
    rule, todo = "a day between the job's received_date and closed_date", "Correct the date here or in jobs.csv."
    out += book.say("boot_tests", outside, "test_date", rule, todo, "test-outside-job")
    before = by_job["bench_hours_so_far"].cummax().groupby(ordered["job"]).shift().reindex(tests.index)
    rule, todo = "no fewer hours than at the test before", "Correct the hours."
    backwards = tests["bench_hours_so_far"].lt(before)
    out += book.say("boot_tests", backwards, "bench_hours_so_far", rule, todo, "hours-order", over_rows=True)
    total = book.jobs_of("boot_tests", "bench_hours")
    rule, todo = "no more hours than the job's bench_hours", "Correct the hours here or in jobs.csv."
    return out + book.say(
        "boot_tests", tests["bench_hours_so_far"].gt(total), "bench_hours_so_far", rule, todo, "hours-over-total"
    )
