"""The sheet as a page: gates of every page, one A4 page, in plain words."""

from __future__ import annotations

import re
from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest

from analysis.cli import main
from analysis.cohort.outcomes import Ending
from analysis.errors import LogError, ReworkError
from analysis.models.intervals import wilson
from analysis.questions import evidence_intake
from analysis.questions.evidence import COUNTED, build_evidence
from analysis.questions.evidence_classes import CLASSES, merged
from analysis.questions.evidence_span import chosen, half_year, latest_half, span_for
from analysis.questions.trust import Trust
from analysis.records.dictionary import JOBS
from analysis.records.log import read_log
from analysis.report import evidence_page as parts
from analysis.report import evidence_view
from analysis.report.evidence_wording import words_for
from tests.evidence.sealed import copy_of, demo_copy, sheet
from tests.report.gates import assert_page_behaves, assert_page_is_sound, printed_pages
from tests.tables import boot, closed, job, log_of

UNTIL = pd.Timestamp("2024-09-30")


@pytest.fixture(scope="module")
def draft(tmp_path_factory):
    folder = demo_copy(tmp_path_factory.mktemp("draft") / "log")
    return sheet(folder, folder.parent)


def test_the_sheet_is_sound(demo_sheet, draft):
    for path in (demo_sheet, draft):
        assert_page_is_sound(path)


@pytest.mark.browser
@pytest.mark.parametrize("which", ["demo_sheet", "draft"])
def test_the_sheet_behaves_and_prints_on_one_page(which, request, running_browser):
    path = request.getfixturevalue(which)
    assert_page_behaves(path, running_browser)
    assert printed_pages(path, running_browser) == 1


def test_plain_language_no_codes_and_no_people(demo_sheet, demo_log):
    html = demo_sheet.read_text(encoding="utf-8")
    log = read_log(demo_log)
    texts = {
        str(text)
        for table in log.tables.values()
        for name in table.select_dtypes("string")
        for text in table[name].dropna().unique()
    }
    assert not [text for text in texts if re.search(rf"(?<![\w-]){re.escape(text)}(?![\w-])", html)]
    assert str(demo_log) not in html
    assert demo_log.parent.name not in html
    for word in ("odds", "censored", "p-value", "significant", "likelihood", "bench_hours", "technician"):
        assert word not in html.lower()
    for words in ("Past results are no promise", "only copy", "Switch the device off", "batteries", "Local codes"):
        assert words in html


def test_the_page_says_that_it_is_a_draft_until_sealed(draft, demo_sheet):
    assert "Draft. The log is not sealed" in draft.read_text(encoding="utf-8")
    assert "Draft" not in demo_sheet.read_text(encoding="utf-8")
    with pytest.raises(ReworkError, match="A draft has no recount file"):
        sheet(draft.parent / "log", draft.parent, recount_file=draft.parent / "r.csv")


def test_a_log_changed_since_its_seal_gives_no_sheet_and_the_old_one_stays(demo_log, tmp_path):
    folder = copy_of(demo_log, tmp_path / "log")
    path = sheet(folder, tmp_path)
    before = path.read_bytes()
    jobs = folder / "jobs.csv"
    jobs.write_text(jobs.read_text(encoding="utf-8").replace("not_recovered", "recovered", 1), encoding="utf-8")
    with pytest.raises(
        LogError, match=r"not the one that was sealed:\n  1 row changed since the seal: jobs.csv J-0001"
    ):
        sheet(folder, tmp_path)
    assert path.read_bytes() == before


def test_classes_are_frozen_and_every_ending_is_counted():
    """A new damage class or ending must get a place on the sheet, and so a new version of the definitions."""
    assert JOBS["intake_damage"].codes == CLASSES
    assert {*COUNTED.values(), Ending.NOT_ACCEPTED, Ending.REPEAT} == set(Ending)


@pytest.mark.parametrize(
    ("sizes", "want"),
    [
        ({"a": 20, "b": 30}, (("a",), ("b",))),
        ({"a": 20, "b": 4, "c": 30, "d": 6}, (("a",), ("c",), ("b", "d"))),
        ({"a": 20, "b": 12, "c": 3}, (("a",), ("b", "c"))),  # one small class alone would be the total less the others
        ({"a": 20, "b": 2, "c": 3}, (("a", "b", "c"),)),
        ({"a": 2, "b": 3}, (("a", "b"),)),
        ({"a": 20, "b": 0, "c": 11}, (("a",), ("c",))),
    ],
)
def test_small_classes_are_merged_until_nothing_can_be_worked_out(sizes, want):
    assert merged(sizes, list(sizes), 10) == want


def many(n, first=0, **values):
    """Closed jobs of January 2026."""
    return [closed(f"J-{first + at}", first_boot_result="data_readable", **values) for at in range(n)]


def evidence_of(rows, tests=(), until="2026-06-30", half="2026H1", minimum=10):
    log = log_of(jobs=rows, boot_tests=list(tests))
    log = replace(log, settings=replace(log.settings, minimum_class_n=minimum))
    return build_evidence(log, half_year(half), pd.Timestamp(until))


def test_a_period_with_too_few_closed_jobs_is_refused():
    with pytest.raises(ReworkError, match="holds 9 accepted closed jobs; a sheet takes at least 10"):
        evidence_of([*many(9), job("J-open")])
    assert evidence_of(many(10)).recovered.n == 10


def test_a_chain_of_attempts_counts_as_one_job():
    rows = many(20)
    rows.append(closed("F", "not_recovered", first_boot_result="short", received_date="2026-01-07"))
    again = {"prior_rework": "here", "previous_job_id": "F", "received_date": "2026-03-01", "closed_date": "2026-03-20"}
    rows.append(closed("S", first_boot_result="data_readable", **again))
    counted = evidence_of(rows)
    assert counted.counts["repeats"] == 1
    assert (counted.recovered.x, counted.recovered.n) == (21, 21)
    assert counted.first_boot.x == 20


def test_stopped_open_and_partly_read_jobs_stand_in_the_denominators_they_belong_to():
    partly = closed("P", "not_recovered", first_boot_result="data_partial")
    rows = [*many(30), closed("ST", "stopped_by_client"), partly]
    counted = evidence_of([*rows, job("O")], [boot("ST", 1, "short")])
    assert counted.counts["open"] == 1
    assert (counted.recovered.x, counted.recovered.n) == (30, 32)
    assert counted.without_stopped.n == 31
    assert counted.counts["partial"] == 1
    assert counted.turnaround.still_open == 1


def test_a_time_says_how_many_jobs_are_still_open_or_that_none_is():
    words = words_for("en")
    said = [parts._time(evidence_of([*many(30), *more]), words) for more in ([], [job("O")])]
    assert said[0].endswith(" 30 accepted jobs, all closed.")
    assert said[1].endswith(" 31 accepted jobs; those still open (1) count for as long as they were followed.")


def test_no_rate_while_too_many_jobs_are_open_but_the_shares_by_days():
    rows = many(30) + [job(f"O-{at}", received_date="2026-02-10") for at in range(15)]
    counted = evidence_of(rows, until="2026-06-30")
    assert not counted.ready
    assert counted.classes == ()
    view = evidence_view.SheetView(counted, words_for("en"), evidence_view.Mark(0, "", "d", "1-c"), "shop", False)
    assert "No rate yet: 30 of 45" in parts.headline(view)._repr_html_()
    assert "Rates by damage follow" in parts.classes_grid(view)._repr_html_()
    assert "within 60 days" in parts.more(view)._repr_html_()


def test_losses_are_told_apart_from_damage_found():
    rows = many(10)
    rows += [
        closed(f"L-{at}", "not_recovered", loss_reversible=False, first_boot_result="short", failure_cause=cause)
        for at, cause in enumerate(["pads_lost", "chip_dead_on_arrival", None])
    ]
    counted = evidence_of(rows)
    assert (counted.lost, counted.lost_found) == (3, 1)


def test_a_chain_recovered_and_lost_later_is_not_lost():
    rows = many(10)
    rows.append(closed("F", first_boot_result="data_readable", received_date="2026-01-07"))
    again = {"prior_rework": "here", "previous_job_id": "F", "received_date": "2026-03-01", "closed_date": "2026-03-20"}
    rows.append(closed("S", "not_recovered", first_boot_result="short", **(again | {"loss_reversible": False})))
    counted = evidence_of(rows)
    assert (counted.recovered.x, counted.lost) == (11, 0)


def test_results_of_open_jobs_without_a_date_are_not_known_whatever_was_entered_since():
    rows = [*many(20), job("O", first_boot_result="data_readable"), job("P")]
    undated = [boot("P", 1, "short", test_date=None)]
    later = [job("N", received_date="2026-09-01")]
    before, after = evidence_of(rows, undated), evidence_of([*rows, *later], undated)
    assert before.first_boot.n == after.first_boot.n == 20
    assert before.counts == after.counts
    dated = evidence_of(rows, [boot("P", 1, "short")])
    assert dated.first_boot.n == 21


NO_HALF = """'{}' is not a half-year.
  Rule: A half-year is written 2024H1 (January to June) or 2024H2 (July to December).
  What to do: Write for example --half 2024H1."""
NOT_OVER = """2024H2 ends on 2024-12-31, and the log is counted as it stood on 2024-09-30.
  Rule: A sheet covers months that were over by the day of the seal.
  What to do: Seal until a later day with 'rework seal', or choose an earlier period."""
BOTH = "A half-year and chosen months are both named.\n  What to do: Use --half, or --from and --until."
ONE_END = "Only one end of the chosen months is named.\n  What to do: Name both --from and --until."
TURNED = "2024-05 comes after 2024-01.\n  What to do: Name the earlier month with --from."
FAR_OUT = "'9999H1' lies out of all logs.\n  Rule: years 1990 to 2199\n  What to do: Look at the year."


@pytest.mark.parametrize(
    ("half", "first", "last", "told"),
    [
        ("2024H3", "", "", NO_HALF.format("2024H3")),
        ("2024", "", "", NO_HALF.format("2024")),
        ("2024H1", "2024-01", "2024-02", BOTH),
        ("", "2024-01", "", ONE_END),
        ("", "2024-05", "2024-01", TURNED),
        ("", "2024-1", "2024-02", "'2024-1' is not a month.\n  Rule: A month is written YYYY-MM.\n"),
        ("2024H2", "", "", NOT_OVER),
        ("9999H1", "", "", FAR_OUT),
    ],
)
def test_periods_that_cannot_be_are_refused(half, first, last, told):
    with pytest.raises(ReworkError) as stop:
        span_for(half, first, last, UNTIL)
    assert str(stop.value).startswith(told)


def test_the_latest_half_year_that_had_ended():
    assert latest_half(pd.Timestamp("2024-06-30")).half == "2024H1"
    assert latest_half(pd.Timestamp("2024-06-29")).half == "2023H2"
    assert latest_half(UNTIL).half == "2024H1"
    assert latest_half(pd.Timestamp("2024-12-31")).half == "2024H2"
    assert chosen("2024-02", "2024-03").end == pd.Timestamp("2024-03-31")


@pytest.fixture
def trusted(monkeypatch):
    """A log over whose past months the model told more than the class rate; over the demo's it did not."""
    trust = Trust(True, 0.02, 0.01, 0.03, 24, 400, "")
    monkeypatch.setattr("analysis.questions.bench_model.trust_before", lambda *_: trust)


def test_a_clients_own_device_is_told_the_model_or_the_rate_of_its_damage(demo_log, monkeypatch, trusted):
    build = evidence_view.build
    told = build(demo_log, "2024H1", intake=["intake_damage=heat", "device_age_years=3"])
    html = parts.headline(told)._repr_html_()
    assert told.alike.chance is not None
    assert "A device like yours (Heat, 3 years old)" in html
    assert f"about {100 * told.alike.chance[0]:.0f}%" in html
    assert f"From {told.alike.n} closed jobs" in html
    monkeypatch.setattr(evidence_intake, "_by_model", lambda *_: (None, 0))
    html = parts.headline(build(demo_log, "2024H1", intake=["intake_damage=heat"]))._repr_html_()
    assert "Data recovered in 11 of 17 closed jobs: 65%" in html
    assert (
        "with any damage of these, counted together since there are too few of one kind: Heat + No damage seen." in html
    )
    assert "with this damage" not in html
    html = parts.headline(build(demo_log, "2024H1", intake=["intake_damage=liquid"]))._repr_html_()
    assert "Data recovered in 15 of 27 closed jobs: 56%" in html
    assert "counted together since" not in html
    assert "with this damage" in html


def test_the_model_speaks_only_where_the_rule_for_trusting_it_holds(demo_log, monkeypatch, trusted):
    log = read_log(demo_log)
    counted = build_evidence(log, half_year("2024H1"), UNTIL)
    facts = {"intake_damage": "liquid", "device_age_years": "3"}
    mean, low, high = evidence_intake.alike(log, counted, facts).chance
    assert 0 < low < mean < high < 1
    monkeypatch.setattr(
        "analysis.questions.bench_model.trust_before", lambda *_: Trust(False, 0.0, -1.0, 1.0, 9, 99, "")
    )
    assert evidence_intake.alike(log, counted, facts).chance is None


NO_FACT = """'{}' is no fact of a device.
  Rule: COLUMN=VALUE, where the column is one of: device_class, device_age_years, intake_damage, second_damage,\
 prior_rework, underfill
  What to do: For example intake_damage=liquid."""
KINDS = "drop, liquid, bend_or_snap, power_fault, heat, none_seen."
CORRECT_IT = "\n  What to do: Correct it; 'rework column NAME' explains a column."


@pytest.mark.parametrize(
    ("fact", "told"),
    [
        ("intake_damage", NO_FACT.format("intake_damage")),
        ("board_family=FAM-A", NO_FACT.format("board_family=FAM-A")),
        ("technician_id=T1", NO_FACT.format("technician_id=T1")),
        ("intake_damage=fire", f"the intake: intake_damage: 'fire' is none of the codes. One of: {KINDS}{CORRECT_IT}"),
        ("device_age_years=3", f"the intake: intake_damage is missing; it is one of: {KINDS}{CORRECT_IT}"),
    ],
)
def test_facts_of_a_device_that_cannot_be_used_are_refused(demo_log, fact, told):
    with pytest.raises(ReworkError) as stop:
        evidence_view.build(demo_log, "2024H1", intake=[fact])
    assert str(stop.value) == told


def test_a_sheet_with_a_clients_device_is_recounted_with_it(demo_log, tmp_path):
    folder = copy_of(demo_log, tmp_path / "log")
    path = sheet(folder, tmp_path, intake=["intake_damage=liquid"])
    assert path.name == "evidence-2024H1-device-liquid.html"
    assert main(["recount", str(path), str(folder)]) == 0
    text = path.read_text(encoding="utf-8")
    found = re.search(r"Data recovered in (\d+) of (\d+) closed jobs", text)
    path.write_text(text.replace(found[0], f"Data recovered in {found[2]} of {found[2]} closed jobs"), encoding="utf-8")
    assert main(["recount", str(path), str(folder)]) == 1


def test_a_model_s_chance_on_a_sheet_is_recounted_too(demo_log, tmp_path, trusted):
    folder = copy_of(demo_log, tmp_path / "log")
    path = sheet(folder, tmp_path, intake=["intake_damage=liquid"])
    assert main(["recount", str(path), str(folder)]) == 0
    text = path.read_text(encoding="utf-8")
    found = re.search(r"about (\d+)%", text)
    path.write_text(text.replace(found[0], f"about {int(found[1]) + 9}%"), encoding="utf-8")
    assert main(["recount", str(path), str(folder)]) == 1


def test_the_commands(tmp_path, capsys):
    folder = demo_copy(tmp_path / "log")
    assert main(["seal", str(folder), "--until", "2024-09-30"]) == 0
    assert "never publish it" in capsys.readouterr().out
    out = tmp_path / "out"
    assert main(["evidence", str(folder), "--half", "2024H1", "--language", "de", "--out", str(out)]) == 0
    page = out / "evidence-2024H1-de.html"
    assert main(["recount", str(page), str(folder)]) == 0
    assert "Matches" in capsys.readouterr().out
    assert main(["seal", str(folder), "--until", "30.09.2024"]) == 2
    assert main(["evidence", str(folder), "--half", "2024H2", "--out", str(out)]) == 2
    assert "What to do" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("language", "one", "two"),
    [
        (
            "en",
            "1; had this one failed or started, it would be 79% or 84%.",
            "2; had all of these failed or all started",
        ),
        (
            "de",
            "1; wäre dieser misslungen oder gelungen, wären es 79\xa0% oder 84\xa0%.",
            "2; wären diese alle misslungen",
        ),
    ],
)
def test_one_job_stopped_before_any_try_is_not_called_all_of_these(language, one, two):
    """15 of 18 tried started; with one more, failed or started, it is 15 or 16 of 19."""
    rates = SimpleNamespace(first_boot=wilson(15, 18), stopped_untested=1, bounds=(15 / 19, 16 / 19))
    assert parts._first_start(rates, words_for(language)).detail.endswith(one)
    rates.stopped_untested = 2
    assert two in parts._first_start(rates, words_for(language)).detail
