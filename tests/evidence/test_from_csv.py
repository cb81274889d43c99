"""The sheet's totals counted again straight from the CSV files of the log, by plain loops and nothing of the suite."""

from __future__ import annotations

import csv
import datetime as dt
from collections import Counter, defaultdict

import pandas as pd
import pytest

from analysis.errors import ReworkError
from analysis.questions.evidence import build_evidence
from analysis.questions.evidence_facts import totals
from analysis.questions.evidence_rows import counted_log
from analysis.questions.evidence_span import chosen, half_year
from analysis.records.log import read_log
from tests.evidence.small_log import small_log

GOOD = ("data_readable", "starts_locked")
WON, LOCKED, PARTIAL, LOST, STOPPED, OPEN = "recovered", "locked", "partial", "not_recovered", "stopped", "open"


def table(folder, name):
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


class ByHand:
    """One dict a job, as the log stood at the end of a day."""

    def __init__(self, folder, until):
        self.jobs = {job["job_id"]: job for job in table(folder, "jobs") if job["received_date"] <= until}
        self.until = until
        self.tests = defaultdict(dict)
        for test in table(folder, "boot_tests"):
            job = self.jobs.get(test["job_id"])
            if job and ((test["test_date"] or until) <= until and (test["test_date"] or self.closed(job))):
                self.tests[test["job_id"]][int(test["test_no"])] = test["boot_result"]
        self.worked = {row["job_id"] for name in ("chip_sides", "heat_steps") for row in table(folder, name)}
        self.chains = defaultdict(list)
        for job in sorted(self.jobs.values(), key=lambda each: each["received_date"]):
            if job["decision"] == "accepted":
                self.chains[self.root(job)].append(job)

    def closed(self, job):
        return bool(job["closed_date"]) and job["closed_date"] <= self.until

    def root(self, job):
        earlier = self.jobs.get(job["previous_job_id"]) if job["prior_rework"] == "here" else None
        return self.root(earlier) if earlier and earlier["decision"] == "accepted" else job["job_id"]

    def results(self, job):
        """Results in order; for a job without rows of its own, what jobs.csv says of the first."""
        found = self.tests[job["job_id"]]
        typed = job["first_boot_result"] if self.closed(job) else ""
        return [found[n] for n in sorted(found)] or ([typed] if typed not in ("", "not_tested") else [])

    def ending(self, job):
        if not self.closed(job):
            return OPEN
        results = self.results(job)
        if job["outcome"] == "recovered" and ("data_readable" in results or not results):
            return WON
        if job["outcome"] == "stopped_by_client":
            return STOPPED
        if results and results[-1] == "starts_locked":
            return LOCKED
        return PARTIAL if "data_partial" in results else LOST

    def first_boot(self, job):
        results = self.results(job)
        if results:
            return "yes" if results[0] in GOOD else "no"
        if not self.closed(job):
            return ""
        if job["outcome"] == "not_recovered":
            return "no"
        worked = job["job_id"] in self.worked or float(job["bench_hours"] or 0) > 0
        return "untested" if job["outcome"] == "stopped_by_client" and worked else ""

    def counted(self, first, last):
        """Everything the sheet's totals hold, classes and fees one by one."""
        out, classes, fees = Counter(), defaultdict(Counter), Counter()
        for job in self.jobs.values():
            if not first <= job["received_date"][:7] <= last:
                continue
            out["received"] += 1
            if job["decision"] != "accepted":
                out[job["decision"]] += 1
            elif self.root(job) != job["job_id"]:
                out["repeats"] += 1
                won = [each["closed_date"] for each in self.chains[self.root(job)] if self.ending(each) == WON]
                out["repeats_after_recovery"] += bool(won) and min(won) <= job["received_date"]
            else:
                self.one(job, out, classes[job["intake_damage"]])
                fees[job["fee_basis"] or "not_recorded"] += 1
        return out, classes, fees

    def one(self, job, out, of_class):
        chain = self.chains[job["job_id"]]
        endings = [self.ending(each) for each in chain]
        end = WON if WON in endings else endings[-1]
        out["accepted"] += 1
        out[end] += 1
        boot = self.first_boot(job)
        for each in (out, of_class):
            each["closed"] += end != OPEN
            each["closed_not_stopped"] += end not in (OPEN, STOPPED)
            each["won"] += end == WON
            each["first_boot"] += boot == "yes"
            each["first_boot_n"] += boot in ("yes", "no")
        out["stopped_untested"] += boot == "untested"
        if end in (OPEN, WON):
            return
        last = chain[-1]
        if last["loss_reversible"] == "no":
            out["lost_for_good"] += 1
            out["lost_for_good_on_arrival"] += last["failure_cause"] in ("chip_dead_on_arrival", "original_damage")
        elif not last["loss_reversible"]:
            before = job["outcome"] == "stopped_by_client" and not self.results(job)
            out["lost_for_good_not_recorded"] += not before or self.first_boot(job) == "untested"


def compare(counted, by_hand, first, last):
    """The totals of a sheet against the count by hand, groups put together as the sheet has them."""
    out, classes, fees = by_hand.counted(first, last)
    shown = totals(counted)
    plain = (
        "received",
        "declined",
        "withdrawn",
        "repeats",
        "repeats_after_recovery",
        "accepted",
        "closed",
        "closed_not_stopped",
    )
    plain += (WON, PARTIAL, LOCKED, LOST, STOPPED, OPEN, "stopped_untested")
    plain += ("lost_for_good", "lost_for_good_on_arrival", "lost_for_good_not_recorded")
    want = {name: out[name] for name in plain}
    if out["first_boot_n"] >= counted.minimum:
        want |= {name: out[name] for name in ("first_boot", "first_boot_n")}
    for row in counted.classes:
        name, mine = "+".join(row.codes), sum((classes[code] for code in row.codes), Counter())
        want |= {f"{name}: recovered": mine["won"], f"{name}: closed": mine["closed"]}
        if mine["first_boot_n"] >= counted.minimum:
            want |= {f"{name}: {each}": mine[each] for each in ("first_boot", "first_boot_n")}
    for codes, _ in counted.fees:
        want["fee " + "+".join(codes)] = sum(fees[code] for code in codes)
    if counted.whole is not None:
        every, _, _ = by_hand.counted("0000", "9999")
        want |= {"whole log: recovered": every[WON], "whole log: closed": every["closed"]}
        want |= {f"whole log: {name}": every[name] for name in ("first_boot", "first_boot_n")}
    assert {name: shown[name] for name in want} == want
    hidden = {name: n for name, n in shown.items() if name not in want and name != "set_aside"}
    assert not any(hidden.values()), hidden


@pytest.fixture(scope="module")
def demo(demo_log):
    return counted_log(read_log(demo_log)), demo_log


DAYS = ("2023-06-30", "2024-03-15", "2024-09-30")


@pytest.mark.parametrize("until", DAYS)
def test_every_half_year_of_the_demo_at_several_days(demo, until):
    log, folder = demo
    by_hand = ByHand(folder, until)
    sheets = 0
    for year in range(2019, 2025):
        for half, (first, last) in ((1, ("01", "06")), (2, ("07", "12"))):
            try:
                counted = build_evidence(log, half_year(f"{year}H{half}"), pd.Timestamp(until))
            except ReworkError:
                continue
            compare(counted, by_hand, f"{year}-{first}", f"{year}-{last}")
            sheets += 1
    assert sheets >= 3


@pytest.mark.parametrize(("first", "last"), [("2023-02", "2023-08"), ("2022-01", "2024-09"), ("2024-07", "2024-09")])
def test_chosen_months_with_the_whole_log(demo, first, last):
    log, folder = demo
    compare(build_evidence(log, chosen(first, last), pd.Timestamp(DAYS[-1])), ByHand(folder, DAYS[-1]), first, last)


@pytest.mark.parametrize("until", ["2024-05-01", "2024-07-15", "2024-09-30"])
def test_the_small_log_with_a_chain_a_stopped_and_open_jobs(tmp_path, until):
    folder = small_log(tmp_path / "log")
    counted = build_evidence(counted_log(read_log(folder)), half_year("2024H1"), pd.Timestamp(until))
    compare(counted, ByHand(folder, until), "2024-01", "2024-06")


def test_a_chain_that_crosses_half_years_counts_with_its_first_job(tmp_path):
    """K-10 fails in June and comes again in July: until that is closed it is open, then it is what came of it."""
    folder = small_log(tmp_path / "log")
    path = folder / "jobs.csv"
    text = path.read_text(encoding="utf-8")
    again = next(line for line in text.splitlines() if line.startswith("K-12,"))
    path.write_text(
        text.replace(again, again.replace("2024-02-25", "2024-07-01").replace("2024-03-13", "2024-07-20")),
        encoding="utf-8",
    )
    log = counted_log(read_log(folder))
    assert not log.faults
    seen = {}
    for day in ("2024-06-30", "2024-07-10", "2024-07-20"):
        counted = build_evidence(log, half_year("2024H1"), pd.Timestamp(day))
        compare(counted, ByHand(folder, day), "2024-01", "2024-06")
        seen[day] = (counted.counts["not_recovered"], counted.counts["open"], counted.counts["recovered"])
    assert [a - b for a, b in zip(seen["2024-07-10"], seen["2024-06-30"], strict=True)] == [-1, 1, 0]
    assert [a - b for a, b in zip(seen["2024-07-20"], seen["2024-07-10"], strict=True)] == [0, -1, 1]


def test_half_years_end_with_the_last_of_june_and_of_december(tmp_path):
    folder = small_log(tmp_path / "log")
    heads = (folder / "jobs.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
    days = ("2023-12-31", "2024-01-01", "2024-06-30", "2024-07-01")
    with (folder / "jobs.csv").open("a", encoding="utf-8", newline="") as handle:
        for at, day in enumerate(days):
            cells = {"job_id": f"B-{at}", "received_date": day, "intake_damage": "drop", "decision": "declined"}
            csv.DictWriter(handle, heads, lineterminator="\n").writerow(cells)
    before = dt.date(2024, 9, 30).isoformat()
    counted = build_evidence(counted_log(read_log(folder)), half_year("2024H1"), pd.Timestamp(before))
    assert counted.counts["declined"] == 1 + 2
    compare(counted, ByHand(folder, before), "2024-01", "2024-06")
