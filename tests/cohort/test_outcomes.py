"""The outcome gate: every definition worked by hand."""

from __future__ import annotations

import pandas as pd
import pytest

from analysis.cohort.features import build_cohort
from analysis.cohort.ledger import Ledger
from analysis.cohort.outcomes import Ending, FirstBoot, count_first_boots, job_outcomes
from tests.tables import boot, closed, job, log_of


def status_of(log, job_id):
    return job_outcomes(log).set_index("job_id").loc[job_id, "first_boot_status"]


def ending_of(log, job_id):
    return job_outcomes(log).set_index("job_id").loc[job_id, "ending"]


@pytest.mark.parametrize(
    ("result", "expected"),
    [
        ("data_readable", FirstBoot.SUCCESS),
        ("starts_locked", FirstBoot.SUCCESS),
        ("data_partial", FirstBoot.FAILURE),
        ("restart_loop", FirstBoot.FAILURE),
        ("short", FirstBoot.FAILURE),
    ],
)
def test_boot_test_one_decides(result, expected):
    log = log_of(jobs=[job("A")], boot_tests=[boot("A", 1, result), boot("A", 2, "data_readable")])
    assert status_of(log, "A") == expected


def test_a_job_without_boot_table_uses_its_own_column():
    log = log_of(jobs=[closed("A", first_boot_result="data_readable")])
    assert status_of(log, "A") == FirstBoot.SUCCESS
    assert ending_of(log, "A") == Ending.RECOVERED


def test_closed_as_not_recovered_without_a_test_is_a_failure_of_its_closing_month():
    log = log_of(jobs=[closed("A", "not_recovered", first_boot_result="not_tested", closed_date="2026-03-02")])
    row = job_outcomes(log).iloc[0]
    assert row["first_boot"] == 0
    assert row["first_boot_month"] == pd.Period("2026-03")


def test_a_success_belongs_to_the_month_of_its_test_not_of_closing():
    log = log_of(jobs=[closed("A", closed_date="2026-03-02")], boot_tests=[boot("A", 1, "data_readable")])
    assert job_outcomes(log).iloc[0]["first_boot_month"] == pd.Period("2026-01")


def test_every_exclusion_is_named_and_counted():
    log = log_of(
        jobs=[
            closed("S"),
            job("D", decision="declined"),
            job("W", decision="withdrawn"),
            job("O"),
            closed("P", "stopped_by_client", bench_hours=0.0),
            closed("H", "stopped_by_client", bench_hours=3.0),
            closed("U", first_boot_result="not_tested"),
        ],
        boot_tests=[boot("S", 1, "data_readable")],
    )
    count = count_first_boots(job_outcomes(log))
    assert (count.successes, count.n, count.stopped_untested) == (1, 1, 1)
    assert count.bounds == (0.5, 1.0)
    assert dict(count.ledger.exclusions) == {
        str(reason): 1 for reason in FirstBoot if reason not in (FirstBoot.SUCCESS, FirstBoot.FAILURE, FirstBoot.REPEAT)
    }
    assert count.ledger.rows_in == 7
    assert count.ledger.rows_used == 1


def test_hours_alone_are_called_work_and_not_heat():
    """Half an hour of looking before the client stopped: no heat step is written, and none may be claimed."""
    log = log_of(jobs=[closed("A", "stopped_by_client", bench_hours=0.5)])
    assert (
        status_of(log, "A") == FirstBoot.STOPPED_AFTER == "stopped by the client after work began, without a boot test"
    )
    assert "heat" not in FirstBoot.STOPPED_AFTER


def test_heat_marks_a_stopped_job_as_worked_on_even_without_hours():
    log = log_of(
        jobs=[closed("A", "stopped_by_client", bench_hours=None)],
        heat_steps=[{"job_id": "A", "chip_role": "processor", "step_no": 1, "step_type": "removal"}],
    )
    assert status_of(log, "A") == FirstBoot.STOPPED_AFTER


def test_a_chain_counts_once_and_keeps_its_recovery():
    log = log_of(
        jobs=[
            closed("A", "not_recovered"),
            closed("B", prior_rework="here", previous_job_id="A", received_date="2026-03-01", closed_date="2026-04-01"),
            closed("C", "not_recovered", prior_rework="here", previous_job_id="B", received_date="2026-05-01"),
        ],
        boot_tests=[boot("A", 1, "short"), boot("B", 1, "data_readable"), boot("C", 1, "short")],
    )
    outcomes = job_outcomes(log).set_index("job_id")
    assert list(outcomes["chain_root"]) == ["A", "A", "A"]
    assert outcomes.loc["A", "first_boot"] == 0
    assert outcomes.loc["A", "ending"] == Ending.RECOVERED
    assert outcomes.loc["A", "ended_date"] == pd.Timestamp("2026-04-01")
    assert set(outcomes.loc[["B", "C"], "ending"]) == {str(Ending.REPEAT)}
    assert outcomes.loc[["B", "C"], "first_boot"].isna().all()


def test_an_earlier_job_that_was_declined_starts_no_chain():
    log = log_of(
        jobs=[job("A", decision="declined"), closed("B", prior_rework="here", previous_job_id="A")],
        boot_tests=[boot("B", 1, "data_readable")],
    )
    assert status_of(log, "B") == FirstBoot.SUCCESS


def test_a_declined_job_in_the_middle_does_not_break_a_chain():
    here = {"prior_rework": "here"}
    log = log_of(
        jobs=[
            closed("A", "not_recovered"),
            job("B", decision="declined", previous_job_id="A", received_date="2026-02-01", **here),
            closed("C", previous_job_id="B", received_date="2026-03-01", closed_date="2026-04-01", **here),
        ],
        boot_tests=[boot("A", 1, "short"), boot("C", 1, "data_readable")],
    )
    outcomes = job_outcomes(log).set_index("job_id")
    assert outcomes.loc["C", "chain_root"] == "A"
    assert (outcomes.loc["A", "ending"], outcomes.loc["A", "first_boot"]) == (str(Ending.RECOVERED), 0)
    assert outcomes.loc["B", "ending"] == Ending.NOT_ACCEPTED


HERE = {"prior_rework": "here"}


def test_an_open_chain_has_not_ended():
    log = log_of(
        jobs=[closed("A", "not_recovered"), job("B", previous_job_id="A", received_date="2026-03-01", **HERE)],
        boot_tests=[boot("A", 1, "short")],
    )
    row = job_outcomes(log).set_index("job_id").loc["A"]
    assert (row["ending"], row["first_boot"]) == (str(Ending.OPEN), 0)
    assert pd.isna(row["ended_date"])


def test_a_day_written_on_a_declined_job_does_not_move_the_end_of_the_job_before_it():
    later = job("B", decision="declined", previous_job_id="A", closed_date="2026-09-02", **HERE)
    log = log_of(
        jobs=[closed("A", "not_recovered", closed_date="2026-06-05"), later], boot_tests=[boot("A", 1, "short")]
    )
    assert job_outcomes(log).set_index("job_id").loc["A", "ended_date"] == pd.Timestamp("2026-06-05")


def test_a_job_stopped_before_work_is_no_attempt_of_a_chain():
    """Neither before the attempt nor after it may it take the board's result away."""
    idle = {"outcome": "stopped_by_client", "bench_hours": None}
    before = log_of(
        jobs=[closed("A", **idle), closed("B", previous_job_id="A", received_date="2026-03-01", **HERE)],
        boot_tests=[boot("B", 1, "data_readable")],
    )
    rows = job_outcomes(before).set_index("job_id")
    assert (rows.loc["B", "first_boot"], rows.loc["B", "ending"]) == (1, str(Ending.RECOVERED))
    assert (rows.loc["A", "first_boot_status"], rows.loc["A", "ending"]) == (FirstBoot.REPEAT, Ending.REPEAT)
    after = log_of(
        jobs=[
            closed("A", "not_recovered", failure_cause="pads_lost"),
            closed("B", previous_job_id="A", received_date="2026-03-01", **idle, **HERE),
        ],
        boot_tests=[boot("A", 1, "short")],
    )
    row = build_cohort(after).jobs.set_index("job_id").loc["A"]
    assert (row["ending"], row["failure_cause"]) == (str(Ending.NOT_RECOVERED), "pads_lost")


def test_the_last_job_of_a_chain_is_told_by_its_links_not_by_the_order_of_rows():
    jobs = [
        closed("A", "not_recovered", failure_cause="chip_cracked"),
        closed("B", "not_recovered", failure_cause="pads_lost", previous_job_id="A", **HERE),
    ]
    for rows in (jobs, jobs[::-1]):
        told = build_cohort(log_of(jobs=rows, boot_tests=[boot("A", 1, "short")])).jobs.set_index("job_id")
        assert told.loc["A", "failure_cause"] == "pads_lost"


def test_a_loop_of_earlier_jobs_does_not_hang():
    log = log_of(
        jobs=[
            closed("A", prior_rework="here", previous_job_id="B"),
            closed("B", prior_rework="here", previous_job_id="A"),
        ]
    )
    assert len(job_outcomes(log)) == 2


@pytest.mark.parametrize(
    ("outcome", "last", "expected"),
    [
        ("recovered", "data_readable", Ending.RECOVERED),
        ("not_recovered", "starts_locked", Ending.LOCKED),
        ("not_recovered", "data_partial", Ending.PARTIAL),
        ("not_recovered", "short", Ending.NOT_RECOVERED),
        ("stopped_by_client", "short", Ending.STOPPED),
        ("recovered", "starts_locked", Ending.LOCKED),
    ],
)
def test_endings(outcome, last, expected):
    log = log_of(jobs=[closed("A", outcome)], boot_tests=[boot("A", 1, "no_current"), boot("A", 2, last)])
    assert ending_of(log, "A") == expected


def test_an_open_job_is_open():
    log = log_of(jobs=[job("A")], boot_tests=[boot("A", 1, "data_readable")])
    assert ending_of(log, "A") == Ending.OPEN
    assert status_of(log, "A") == FirstBoot.SUCCESS


def test_an_empty_log_gives_empty_outcomes():
    outcomes = job_outcomes(log_of())
    assert len(outcomes) == 0
    assert count_first_boots(outcomes).n == 0


def test_a_ledger_that_does_not_add_up_is_refused():
    with pytest.raises(AssertionError, match="does not add up"):
        Ledger("jobs", 10, (("declined", 3),), 8)


def test_a_recovered_chain_ended_with_its_first_recovery():
    jobs = [
        closed("A", received_date="2026-01-01", closed_date="2026-01-10"),
        closed(
            "B",
            "not_recovered",
            received_date="2026-05-01",
            closed_date="2026-05-20",
            prior_rework="here",
            previous_job_id="A",
        ),
    ]
    ended = job_outcomes(log_of(jobs=jobs)).set_index("job_id").loc["A"]
    assert (str(ended["ending"]), str(ended["ended_date"].date())) == ("recovered", "2026-01-10")
