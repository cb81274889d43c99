"""A plan by lot: balanced, drawn again from its seed, refused where it was changed, analysed at its looks only."""

from __future__ import annotations

import csv
import dataclasses
import io
import re
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis.cohort.features import build_cohort
from analysis.cohort.technique_rows import technique_rows
from analysis.errors import ReworkError
from analysis.questions.contrasts import DECLARED
from analysis.questions.techniques import Effort, techniques
from analysis.questions.trial_outcome import trial_outcome
from analysis.questions.trial_plan import (
    COLUMNS,
    check_of,
    draw_lines,
    fresh_seed,
    jobs_needed,
    next_trial,
    pace,
    plan_csv,
    plan_for,
    reach_of,
)
from analysis.questions.verdicts import Verdict
from analysis.records.log import Log
from tests.tables import boot, closed, log_of

PREHEAT = next(c for c in DECLARED if c.name == "preheat")
AFTER = pd.Timestamp("2025-12-31")
CLASSES = ("drop", "liquid")


def a_plan(jobs: int = 40, seed: int = 4):
    rows = pd.DataFrame({"intake_damage": ["drop"] * 6 + ["liquid"] * 4})
    return plan_for(PREHEAT, rows, AFTER, jobs, seed, reach_of(jobs, 10, 0.7))


def run(plan, tmp_path, wins, jobs=None, delimiter=",", **changes) -> tuple:
    """Fill in a plan's lines with jobs whose outcome depends on the way drawn; the plan's file and its log."""
    lines = list(csv.DictReader(io.StringIO(plan_csv(plan))))
    wanted = plan.jobs if jobs is None else jobs
    tables = []
    for taken, line in enumerate(sorted(lines, key=lambda each: int(each["line"]))[:wanted]):
        job, day = f"N{taken:03d}", 5 + taken % 20
        line |= {"job_id": job, "written_consent": "yes"} | changes.get(job, {})
        ok = wins(line["way"], taken)
        tables.append(
            closed(
                job,
                "recovered" if ok else "not_recovered",
                first_boot_result="data_readable" if ok else "short",
                intake_damage=line["damage_class"],
                received_date=f"2026-{1 + taken // 20:02d}-{day:02d}",
                closed_date=f"2026-{2 + taken // 20:02d}-{day:02d}",
            )
        )
    path = tmp_path / "plan.csv"
    with path.open("w", newline="", encoding="utf-8-sig") as file:
        writer = csv.DictWriter(file, list(lines[0]), delimiter=delimiter)
        writer.writeheader()
        writer.writerows(lines)
    return path, log_of(jobs=tables)


def helps(way: str, k: int) -> bool:
    return way == "preheat" or k % 10 == 0


def no_matter(way: str, k: int) -> bool:
    return k % 3 > 0


def test_lots_are_balanced_within_damage_class_and_come_from_the_seed():
    plan = a_plan()
    assert set(plan.lines) == set(CLASSES)
    for damage, ways in plan.lines.items():
        assert ways.count("preheat") == ways.count("none")
        running = np.cumsum([1 if way == "preheat" else -1 for way in ways])
        assert np.abs(running).max() <= 2
        assert draw_lines(damage, PREHEAT.arms, len(ways) + 10, 4)[: len(ways)] == ways
    assert a_plan().lines == plan.lines
    assert a_plan(seed=5).lines != plan.lines
    assert sum(map(len, plan.lines.values())) > plan.jobs


def test_the_file_carries_what_was_fixed():
    plan = a_plan()
    rows = list(csv.DictReader(io.StringIO(plan_csv(plan))))
    assert {row["plan"] for row in rows} == {plan.code}
    assert re.fullmatch(r"preheat seed 4 jobs 40 look 20 lines \d+ after 2025-12-31 check [0-9a-f]{8}", plan.code)
    assert {row["job_id"] for row in rows} == {""}


def test_nothing_is_shown_before_it_is_time(tmp_path):
    path, log = run(a_plan(), tmp_path, helps, jobs=19)
    found = trial_outcome(path, log)
    assert found.stage == "waiting"
    assert found.counted == 19
    assert found.difference is None
    assert found.by_class == ()


def test_the_first_look_is_the_same_whenever_it_is_made_and_stops_only_without_doubt(tmp_path):
    one = trial_outcome(*run(a_plan(), tmp_path, no_matter, jobs=20))
    two = trial_outcome(*run(a_plan(), tmp_path, no_matter, jobs=31))
    assert one.stage == two.stage == "first look"
    assert one.difference == two.difference
    assert not one.stop
    assert one.verdict is Verdict.CANNOT_TELL
    sure = trial_outcome(*run(a_plan(), tmp_path, lambda way, k: way == "preheat", jobs=20))
    assert sure.stop
    assert sure.verdict is Verdict.CLEAR


def test_the_end_tells_a_difference_and_its_absence(tmp_path):
    found = trial_outcome(*run(a_plan(), tmp_path, helps))
    assert found.stage == "end"
    assert found.difference.difference > 0.5
    assert found.verdict is Verdict.CLEAR
    nothing = trial_outcome(*run(a_plan(), tmp_path, no_matter))
    assert nothing.verdict is Verdict.CANNOT_TELL
    assert nothing.difference.low < 0 < nothing.difference.high


def test_semicolons_of_a_spreadsheet_are_read(tmp_path):
    assert trial_outcome(*run(a_plan(), tmp_path, helps, delimiter=";")).counted == 40


def test_no_consent_no_outcome(tmp_path):
    found = trial_outcome(*run(a_plan(), tmp_path, helps, N003={"written_consent": ""}))
    assert found.without_consent == 1
    assert found.counted == 39
    assert dict(found.ledger.exclusions) == {"no written consent noted": 1}


def test_jobs_from_before_the_plan_do_not_count(tmp_path):
    plan = dataclasses.replace(a_plan(), after=pd.Timestamp("2026-01-06"))
    found = trial_outcome(*run(plan, tmp_path, helps))
    assert dict(found.ledger.exclusions) == {"received before the plan was drawn": 2}


def test_what_the_log_says_was_done_otherwise_is_counted_and_changes_nothing(tmp_path):
    path, log = run(a_plan(), tmp_path, helps)
    step = {"job_id": "N000", "chip_role": "processor", "step_no": 1, "step_type": "install", "before_test_no": 1}
    lines = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
    way = next(line["way"] for line in lines if line["job_id"] == "N000")
    step["preheat_c"] = None if way == "preheat" else 150.0
    # Another job done as drawn: in a log without any preheat, one that is not written down tells nothing.
    other = next(line["job_id"] for line in lines if line["way"] == "preheat" and line["job_id"] not in ("", "N000"))
    steps = [step, step | {"job_id": other, "preheat_c": 150.0}]
    jobs = log.tables["jobs"]
    with_step = Log.from_tables({"jobs": jobs, "heat_steps": log_of(heat_steps=steps).tables["heat_steps"]})
    found, plain = trial_outcome(path, with_step), trial_outcome(path, log)
    assert found.otherwise == 1
    assert plain.otherwise == 0
    assert found.difference == plain.difference


def test_failures_whose_work_cannot_be_dated_count_by_their_lot(tmp_path):
    """A job tested twice with before_test_no left blank: what was done first is not known, that it failed is."""
    path, log = run(a_plan(), tmp_path, helps)
    plain = trial_outcome(path, log)
    jobs = log.tables["jobs"]
    lost = jobs.loc[jobs["first_boot_result"].eq("short"), "job_id"].astype(str)
    tests = [boot(job, k, result) for job in lost for k, result in ((1, "short"), (2, "data_readable"))]
    steps = [{"job_id": job, "chip_role": "processor", "step_no": 1, "step_type": "install"} for job in lost]
    typed = log_of(boot_tests=tests, heat_steps=steps).tables
    tables = {"jobs": jobs, "boot_tests": typed["boot_tests"], "heat_steps": typed["heat_steps"]}
    found = trial_outcome(path, Log.from_tables(tables))
    assert len(build_cohort(Log.from_tables(tables)).undated.jobs) == len(lost) > 10
    assert found.counted == plain.counted == 40
    assert found.by_class == plain.by_class
    assert found.difference == plain.difference


def test_why_a_job_does_not_count_is_told_one_reason_apart_from_the_other(tmp_path):
    path, log = run(a_plan(), tmp_path, helps)
    jobs = log.tables["jobs"].set_index("job_id", drop=False)
    blank = jobs.index[:4]
    jobs.loc[blank, ["outcome", "closed_date", "first_boot_result", "bench_hours"]] = None
    jobs.loc[blank[0], ["outcome", "closed_date"]] = "stopped_by_client", pd.Timestamp("2026-02-20")
    jobs.loc[blank[1], "decision"] = "withdrawn"
    jobs.loc["N005", ["prior_rework", "previous_job_id"]] = "here", "N004"
    found = trial_outcome(path, Log.from_tables({"jobs": jobs.reset_index(drop=True)}))
    assert found.counted == 35
    assert dict(found.ledger.exclusions) == {
        "no first boot yet": 2,
        "stopped by the client before work": 1,
        "withdrawn": 1,
        "later job on the same board (a chain counts once)": 1,
    }


def other_way(way: re.Match) -> str:
    return "none" if way[0] == "preheat" else "preheat"


def without_line(text: str, start: str) -> str:
    """The list less its first line that holds these words."""
    lines = text.splitlines(keepends=True)
    return "".join(line for k, line in enumerate(lines) if k != next(k for k, li in enumerate(lines) if start in li))


REFUSED = [
    (lambda t: re.sub("(?<=,N000,,)(none|preheat)", other_way, t), "was not drawn"),
    (lambda t: t.replace(",N001,", ",N000,"), "stands on two lines"),
    (lambda t: t.replace(",N001,", ",X9,"), "X9 is not in the log"),
    (lambda t: t.replace("seed 4", "seed 5", 1), "does not say which plan"),
    (lambda t: t.replace("written_consent", "consent"), "has no column written_consent"),
    (lambda t: t.replace("look 20", "look soon"), "does not say which plan"),
    (lambda t: re.sub(" check .{8}", "", t), "does not say which plan"),
    (lambda t: t.replace("seed 4", "seed 5"), "is not a plan that was drawn"),
    (lambda t: t.replace("jobs 40 look 20", "jobs 24 look 12"), "is not a plan that was drawn"),
    (lambda t: t.replace("look 20", "look 0"), "is not a plan that was drawn"),
    (lambda t: t.replace("after 2025-12-31", "after 2026-02-01"), "is not a plan that was drawn"),
    (lambda t: t.replace("after 2025-12-31", "after 2025-13-45"), "is not a plan that was drawn"),
    (lambda t: t.replace("preheat seed", "ball_alloy seed"), "is not a plan that was drawn"),
    (lambda t: t.replace(",liquid,", ",flood,"), "'flood' is no damage class"),
    (lambda t: without_line(t, ",drop,2,"), "drop, line 2 is missing"),
    (lambda t: without_line(t, ",liquid,26,"), "lines drawn"),
    (lambda t: t.replace(",drop,3,", ",drop,2,"), "drop, line 2 stands twice"),
    (lambda t: t.replace(",drop,3,", ",drop,²,"), "line '²': no number"),
    (lambda t: t.replace(",drop,3,", ",drop,3.0,"), "line '3.0': no number"),
    (lambda t: t.replace(",drop,3,", ",drop,30000000,"), "line '30000000': no number"),
    (lambda t: t.replace(",drop,3,", ",drop,99999,"), "line 3 is missing"),
    (lambda t: t.replace(",yes,N001,", ",ja,N001,"), "written_consent is 'ja'"),
    (lambda t: t.replace("note", "job_id"), "has the column job_id twice"),
    (lambda t: t.splitlines()[0] + "\n", "holds no line"),
    (lambda t: "", "has no column plan"),
    (lambda t: t.replace(",N001,", ',"' + "x" * 200_000 + '",'), "plan.csv"),
]


@pytest.mark.parametrize(("change", "told"), REFUSED)
def test_a_list_that_was_changed_is_refused_in_words(tmp_path, change, told):
    path, log = run(a_plan(), tmp_path, helps)
    text = path.read_text(encoding="utf-8-sig")
    changed = change(text)
    assert changed != text
    path.write_text(changed, encoding="utf-8")
    with pytest.raises(ReworkError, match=re.escape(told)) as stop:
        trial_outcome(path, log)
    assert "plan.csv" in str(stop.value)
    assert "What to do" in str(stop.value)


def test_a_list_drawn_without_its_check_must_be_drawn_anew(tmp_path):
    path, log = run(a_plan(), tmp_path, helps)
    path.write_text(re.sub(" check .{8}", "", path.read_text(encoding="utf-8")), encoding="utf-8")
    with pytest.raises(ReworkError) as stop:
        trial_outcome(path, log)
    assert stop.value.todo == (
        "Restore the column 'plan' from the printed list; a list without 'check' must be drawn anew."
    )


def test_a_job_on_a_line_of_another_damage_class_is_refused(tmp_path):
    path, log = run(a_plan(), tmp_path, helps)
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace(",N000,", ",N?,").replace(",N001,", ",N000,").replace(",N?,", ",N001,"), encoding="utf-8"
    )
    with pytest.raises(ReworkError, match=r"line 1: job N00[01] came in with damage '(drop|liquid)'"):
        trial_outcome(path, log)


def test_a_day_that_does_not_exist_is_refused_even_with_its_check(tmp_path):
    path, log = run(a_plan(), tmp_path, helps)
    fixed = a_plan().code.partition(" check ")[0]
    other = fixed.replace("2025-12-31", "2025-13-45")
    path.write_text(
        path.read_text(encoding="utf-8").replace(a_plan().code, f"{other} check {check_of(other)}"), encoding="utf-8"
    )
    with pytest.raises(ReworkError, match="is not a plan that was drawn"):
        trial_outcome(path, log)


def filled(path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))


def write_lines(path, lines, **options) -> None:
    with path.open("w", newline="", encoding=options.pop("encoding", "utf-8")) as file:
        writer = csv.DictWriter(file, list(lines[0]), **options)
        writer.writeheader()
        writer.writerows(lines)


def test_lists_as_spreadsheets_save_them_are_read(tmp_path):
    """Semicolons, line ends, byte orders, sorted otherwise, and columns of the shop's own."""
    path, log = run(a_plan(), tmp_path, helps)
    plain, lines = trial_outcome(path, log), filled(path)
    ways = [
        {"delimiter": ";", "lineterminator": "\r\n", "encoding": "utf-8-sig"},
        {"delimiter": "\t", "lineterminator": "\r\n", "encoding": "utf-16"},
        {"delimiter": ";", "lineterminator": "\n", "encoding": "cp1252", "quoting": csv.QUOTE_ALL},
    ]
    for way in ways:
        write_lines(
            path, [{**line, "hand": "é" if way["encoding"] != "utf-16" else "ß"} for line in lines[::-1]], **way
        )
        assert trial_outcome(path, log) == plain


def test_consent_may_be_noted_in_any_of_the_plain_words(tmp_path):
    path, log = run(a_plan(), tmp_path, helps)
    plain, words = trial_outcome(path, log), ["Yes", "y", "TRUE", "1", "x"]
    write_lines(path, [line | {"written_consent": words[at % 5]} for at, line in enumerate(filled(path))])
    assert trial_outcome(path, log) == plain


@pytest.mark.parametrize("word", ["no", "", "N", "-", "–", "False", "0"])
def test_without_any_consent_nothing_is_looked_at(tmp_path, word):
    path, log = run(a_plan(), tmp_path, helps)
    write_lines(path, [line | {"written_consent": word} for line in filled(path)])
    found = trial_outcome(path, log)
    assert (found.stage, found.without_consent, found.ledger.rows_used) == ("waiting", 40, 0)


def test_a_list_without_any_job_waits(tmp_path):
    path, log = run(a_plan(), tmp_path, helps, jobs=0)
    assert (trial_outcome(path, log).stage, trial_outcome(path, log).ledger.rows_in) == ("waiting", 0)


def test_a_missing_file_is_refused_in_words(tmp_path):
    with pytest.raises(ReworkError, match="cannot be read"):
        trial_outcome(tmp_path / "no.csv", log_of())


def test_jobs_needed_agree_with_the_known_numbers():
    # About 293 an arm tell 70 from 80 %, computed with statsmodels' arcsine formula; the plain one gives 291.
    assert jobs_needed(0.75, 10) / 2 == pytest.approx(293, rel=0.01)
    assert jobs_needed(0.7, 20) / 2 == pytest.approx(81, rel=0.03)
    assert reach_of(586, 10, 0.75).points == pytest.approx(10, rel=0.01)
    assert reach_of(40, 10, 0.5).months == 4


@pytest.mark.parametrize("last", ["2026-02-28", "2026-03-07"])
def test_a_partly_covered_month_does_not_slow_the_pace_down(last):
    """One first boot a day for two months; a week of a third does not count as a month."""
    days = pd.date_range("2026-01-01", last)
    found = SimpleNamespace(rows=pd.DataFrame({"first_boot_date": days}), share=1.0)
    assert pace(found, pd.Timestamp(last)) == pytest.approx(365 / 12)
    assert pace(SimpleNamespace(rows=found.rows.iloc[:0]), pd.Timestamp(last)) == 0.0


def test_seeds_of_lists_are_not_foretold():
    assert len({fresh_seed() for _ in range(20)}) == 20


def test_the_lot_stands_in_the_last_column_where_it_can_be_folded_away():
    assert COLUMNS[-1] == "way"
    rows = list(csv.reader(io.StringIO(plan_csv(a_plan()))))
    assert {row[-1] for row in rows[1:]} == {"preheat", "none"}


def test_the_demo_gets_a_plan_that_is_not_settled_already_and_never_a_blade():
    from analysis.cli import DEMO
    from analysis.records.log import read_log

    log = read_log(DEMO).without_faulty_jobs()
    found = technique_rows(log, build_cohort(log))
    answers = techniques(found, DECLARED, effort=Effort(2, 20, 20))
    trial = next_trial(found, answers, log.last_date)
    names = [w.contrast.name for w in trial.worth]
    assert trial.plan is not None
    assert "blade" not in names
    assert "preheat" not in names  # clear already
    assert [w.per_100 for w in trial.worth] == sorted((w.per_100 for w in trial.worth), reverse=True)
    assert trial.a_month == pytest.approx(pace(found, log.last_date))
    assert trial.plan.reach.months == pytest.approx(trial.plan.jobs / trial.a_month)
    *sizes, needed = (each.jobs for each in trial.sizes)
    assert len(sizes) >= 3
    assert sizes == [40 * 2**at for at in range(len(sizes))]  # each twice the last, as long as it is under the needed
    assert sizes[-1] < needed


def test_without_a_contrast_that_may_be_drawn_there_is_no_plan_and_the_reason_is_told():
    log = log_of()
    trial = next_trial(technique_rows(log, build_cohort(log)), (), AFTER)
    assert trial.plan is None
    assert trial.why == "no contrast is both in use, open and fit to be drawn by lot"


@pytest.mark.parametrize(("jobs", "seed"), [(3, 1), (9999, 1), (-4, 1), (40, -1)])
def test_a_size_or_seed_that_cannot_be_used_is_refused_in_words(jobs, seed):
    log = log_of()
    with pytest.raises(ReworkError, match="What to do"):
        next_trial(technique_rows(log, build_cohort(log)), (), AFTER, rng_seed=seed, jobs=jobs)
