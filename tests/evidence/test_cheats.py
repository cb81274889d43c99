"""Ways in which a bench could make itself look better, or a reader learn of a client, each of them closed."""

from __future__ import annotations

import datetime as dt
import html
import json
import re
import shutil
from dataclasses import replace

import pandas as pd
import pytest

from analysis.cli import main
from analysis.errors import LogError, ReworkError
from analysis.questions.evidence import build_evidence
from analysis.questions.evidence_facts import recount_csv
from analysis.questions.evidence_span import chosen, half_year, span_for
from analysis.questions.published import read_published
from analysis.records.log import read_log
from analysis.records.sealing.ledger import read_ledger
from analysis.records.sealing.seal import changes_since
from analysis.report import evidence_page as parts
from analysis.report import evidence_view
from analysis.report.evidence_recount import recount_sheet
from analysis.report.evidence_sheet import sheet_html
from analysis.report.evidence_view import SheetView
from analysis.report.evidence_wording import words_for
from tests.evidence.sealed import sealed, sheet
from tests.evidence.small_log import small_log, small_tables
from tests.files import write
from tests.tables import boot, closed, job, log_of

UNTIL = dt.date(2024, 9, 30)


@pytest.fixture
def made(tmp_path):
    """A sealed small log and its sheet, to be spoilt."""
    folder = small_log(tmp_path / "log")
    sealed(folder, UNTIL)
    return folder, sheet(folder, tmp_path)


def told(page, folder):
    said: list[str] = []
    return recount_sheet(page, folder, said.append), "\n".join(said)


def forged(folder, page, groups):
    """The page that a bench with the program's code in hand could make: classes as it likes, all numbers true."""
    view = evidence_view.build(folder, "2024H1")
    log = read_log(folder)
    counted = build_evidence(log, half_year("2024H1"), view.evidence.until, groups=groups)
    page.write_text(sheet_html(replace(view, evidence=counted)), encoding="utf-8")
    return told(page, folder)


@pytest.mark.parametrize(
    ("groups", "says"),
    [
        ((("liquid",),), "liquid"),  # the worse kind left out
        ((("drop", "liquid"),), "drop+liquid"),  # hidden behind the better one
        ((), "none"),
        ((("drop",), ("liquid",), ("liquid",)), "drop; liquid; liquid"),
    ],
)
def test_classes_left_out_or_put_together_at_will_are_caught(made, groups, says):
    same, text = forged(*made, groups)
    assert not same
    assert f"the sheet puts damage together as {says}; the rule gives drop; liquid" in text


def test_classes_put_together_for_a_sheet_published_before_are_right(tmp_path):
    """Four drops closed after the first sheet: the second one puts drop and liquid together, and matches."""
    tables = small_tables()
    for at in range(27, 47):
        new = {"job_id": f"K-{at}", "received_date": "2024-06-20", "intake_damage": ("heat", "drop")[at < 31]}
        new |= {"decision": "accepted", "outcome": "recovered", "first_boot_result": "data_readable"}
        tables["jobs"].append(new | {"closed_date": "2024-10-10"})
    folder = write(tmp_path / "log", tables)
    spans = {"first": "2024-01", "last": "2024-05"}
    sealed(folder, UNTIL)
    sheet(folder, tmp_path / "a", **spans)
    sealed(folder, dt.date(2024, 10, 31))
    path = sheet(folder, tmp_path / "b")
    same, text = told(path, folder)
    assert same, text
    classes = re.findall(r'"classes": \[(.*?)\n\],', html.unescape(path.read_text(encoding="utf-8")), re.S)
    assert json.loads(f"[{classes[0]}]") == [["drop", "liquid", "heat"]]


def test_a_ledger_cut_back_to_an_earlier_seal_does_not_know_the_sheet(made):
    folder, page = made
    sealed(folder, dt.date(2024, 10, 31))
    page = sheet(folder, page.parent / "second")
    ledger = folder / "seals" / "ledger.jsonl"
    ledger.write_text(ledger.read_text(encoding="utf-8").splitlines(keepends=True)[0], encoding="utf-8")
    same, text = told(page, folder)
    assert not same
    assert "names a seal that is not in this log's ledger" in text


def test_a_sheet_of_another_log_is_told(made, tmp_path):
    other = small_log(tmp_path / "other")
    sealed(other, UNTIL)
    same, text = told(made[1], other)
    assert not same
    assert "names a seal that is not in this log's ledger" in text


def test_seals_go_forward(made):
    with pytest.raises(LogError, match="2024-06-30 is before 2024-09-30, the day of the seal before"):
        sealed(made[0], dt.date(2024, 6, 30))
    assert len(read_ledger(made[0])) == 1
    sealed(made[0], UNTIL)


def test_a_seal_made_late_and_rows_changed_between_seals_stand_on_the_sheet(made):
    folder, page = made
    assert "Seal 1, made on 1 December 2024" in page.read_text(encoding="utf-8")
    assert "changed or removed since" not in page.read_text(encoding="utf-8")
    jobs = folder / "jobs.csv"
    jobs.write_text(jobs.read_text(encoding="utf-8").replace("pads_lost", "poor_joint"), encoding="utf-8")
    sealed(folder, UNTIL)
    sealed(folder, dt.date(2024, 10, 31))
    second = sheet(folder, page.parent / "second")
    text = second.read_text(encoding="utf-8")
    assert "Rows sealed earlier and added, changed or removed since: 1;" in text
    assert told(second, folder)[0]
    for old, new in (("made on 1 December 2024", "made on 1 July 2024"), ("since: 1;", "since: 0;")):
        second.write_text(text.replace(old, new), encoding="utf-8")
        assert not told(second, folder)[0]
    spoilt = text.replace("&quot;2024-12-01&quot;", "&quot;2024-07-01&quot;").replace("1 December", "1 July")
    second.write_text(spoilt, encoding="utf-8")
    assert not told(second, folder)[0]


def test_settings_of_the_bench_do_not_choose_what_is_said(made):
    folder, page = made
    text = "month_complete_share = 0.5\nminimum_at_risk = 1000\n"
    (folder / "bench.toml").write_text(text, encoding="utf-8")
    assert sheet(folder, page.parent / "again").read_bytes() == page.read_bytes()


def test_groups_of_fewer_than_five_cannot_be_asked_for(made):
    folder, page = made
    (folder / "bench.toml").write_text("minimum_class_n = 4\n", encoding="utf-8")
    with pytest.raises(ReworkError, match="a sheet for clients takes at least 5"):
        sheet(folder, page.parent / "again")
    same, text = told(page, folder)
    assert same
    assert "the sheet takes 10 jobs for a group; minimum_class_n in bench.toml is 4 now" in text


def test_an_older_half_year_says_that_it_is_not_the_latest(made):
    folder, page = made
    assert "not the latest" not in page.read_text(encoding="utf-8")
    sealed(folder, dt.date(2025, 1, 31), today=dt.date(2025, 2, 1))
    older = sheet(folder, page.parent / "older").read_text(encoding="utf-8")
    assert "a fixed half-year, not the latest; ask for those since" in older


def test_a_hidden_line_under_another_version_of_the_code_is_told(made):
    folder, page = made
    text = page.read_text(encoding="utf-8")
    code = re.search(r"Code (0\.\d\.\d-\w+)", text)[1]
    page.write_text(text.replace(code, "0.1.0-000000000000").replace("<p>Past", '<p hidden="">Past'), encoding="utf-8")
    same, said = told(page, folder)
    assert same
    assert "mark-up or style differ" in said
    page.write_text(text.replace("<p>Past", '<p hidden="">Past'), encoding="utf-8")
    assert not told(page, folder)[0]


def test_months_that_leave_a_handful_of_the_log_out_are_refused(made):
    """The whole log stands beside chosen months: what they leave out could be worked out."""
    folder, page = made
    with pytest.raises(ReworkError, match="beside the whole log and sheets published before"):
        sheet(folder, page.parent, first="2024-02", last="2024-06")
    assert all(each.kind != "whole log" for each in read_published(folder))


def many(n, **values):
    """Closed jobs of January 2026."""
    return [closed(f"J-{at}", **({"first_boot_result": "data_readable"} | values)) for at in range(n)]


def evidence_of(rows, tests=(), span=None, minimum=10):
    log = log_of(jobs=rows, boot_tests=list(tests))
    log = replace(log, settings=replace(log.settings, minimum_class_n=minimum))
    return build_evidence(log, span or half_year("2026H1"), pd.Timestamp("2026-06-30"))


def shown(counted):
    view = SheetView(counted, words_for("en"), evidence_view.Mark(0, "", "d", "1-c"), "shop", False)
    made = (parts.headline, parts.classes_grid, parts.more)
    return " ".join(part(view)._repr_html_() for part in made)


def test_first_starts_of_a_few_boards_are_not_shown():
    stopped = [
        closed(f"S-{at}", "stopped_by_client", first_boot_result="not_tested", bench_hours=None) for at in range(9)
    ]
    counted = evidence_of([*many(3), *stopped])
    assert (counted.recovered.x, counted.recovered.n, counted.first_boot.n) == (3, 12, 0)
    assert "Too few boards were tried to say" in shown(counted)
    assert "3 of 3" not in shown(counted).replace("it is 3 of 3", "")


def test_a_failure_hung_on_a_recovered_job_stands_apart():
    again = {"prior_rework": "here", "previous_job_id": "J-0", "received_date": "2026-03-01"}
    lost = closed("F", "not_recovered", first_boot_result="short", closed_date="2026-03-20", **again)
    counted = evidence_of([*many(12), lost])
    assert (counted.recovered.x, counted.recovered.n) == (12, 12)
    assert (counted.counts["repeats"], counted.counts["repeats_after_recovery"]) == (1, 1)
    view = SheetView(counted, words_for("en"), evidence_view.Mark(0, "", "d", "1-c"), "shop", False)
    assert "of these, after a recovery" in parts.jobs_grid(view)._repr_html_()
    assert ",repeat_after_recovery," in recount_csv(counted, b"salt")
    open_again = evidence_of([*many(12), job("A", **again)])
    assert open_again.counts["repeats_after_recovery"] == 1
    assert "of these" not in parts.jobs_grid(replace(view, evidence=evidence_of(many(12))))._repr_html_()


def test_failures_of_which_nobody_wrote_whether_the_data_are_lost_are_told():
    rows = [*many(10), *(closed(f"F-{at}", "not_recovered", loss_reversible=None) for at in range(5))]
    counted = evidence_of(rows, [boot(f"F-{at}", 1, "short") for at in range(5)])
    assert (counted.lost, counted.lost_unknown) == (0, 5)
    text = shown(counted)
    assert "Between 0% and 33% of 15 closed jobs" in text
    assert "not recorded for jobs without success: 5" in text


def test_the_whole_log_has_no_rate_either_while_too_many_jobs_are_open():
    late = {"received_date": "2026-05-05"}
    rows = [*many(20), *(job(f"O-{at}", **late) for at in range(10))]
    counted = evidence_of(rows, span=chosen("2026-01", "2026-02"))
    assert counted.ready
    assert not counted.whole.ready
    assert "No rate yet: 20 of 30 accepted jobs are closed" in shown(counted)


def test_no_share_of_losses_while_too_many_jobs_are_open():
    counted = evidence_of([*many(20), *(job(f"O-{at}") for at in range(10))])
    assert "Data lost for good: No share yet" in shown(counted)


@pytest.mark.parametrize(
    ("x", "n", "text"),
    [(5, 40, "13%"), (25, 40, "63%"), (29, 200, "15%"), (1, 1000, "0.1%"), (0, 9, "0%"), (9, 9, "100%")],
)
def test_halves_are_rounded_as_a_spreadsheet_rounds_them(x, n, text):
    assert words_for("en").percent(x / n) == text


@pytest.mark.parametrize("period", [("9999H1", "", ""), ("0001H1", "", ""), ("", "9999-01", "9999-02")])
def test_years_out_of_all_logs_are_refused(period):
    with pytest.raises(ReworkError, match="lies out of all logs"):
        span_for(*period, pd.Timestamp(UNTIL))


@pytest.mark.parametrize("value", [float("nan"), float("inf"), "ten", None, [10]])
def test_facts_with_impossible_numbers_are_refused_in_words(made, capsys, value):
    folder, page = made
    text = page.read_text(encoding="utf-8")
    spoilt = text.replace("&quot;minimum_class_n&quot;: 10", f"&quot;minimum_class_n&quot;: {json.dumps(value)}")
    assert spoilt != text
    page.write_text(spoilt, encoding="utf-8")
    assert main(["recount", str(page), str(folder)]) == 2
    assert "damaged or missing" in capsys.readouterr().err


def test_a_lost_salt_is_told_with_the_way_on(made, capsys):
    folder, page = made
    (folder / "seals" / "seal-1.private.json").unlink()
    for command in (["recount", str(page), str(folder)], ["seal", str(folder), "--until", "2024-10-31"]):
        assert main(command) == 2
        assert "put the folder 'seals' away" in capsys.readouterr().err
    shutil.move(folder / "seals", folder.parent / "old seals")
    assert main(["seal", str(folder), "--until", "2024-10-31"]) == 0


def test_a_column_that_a_later_version_adds_leaves_old_seals_as_they_are(made, monkeypatch):
    """Blanks are no part of a hash: a log without the new column has the same hashes."""
    folder, _ = made
    seal = read_ledger(folder)[0]
    log = read_log(folder)
    frame = log.tables["jobs"].copy()
    frame["donor_cost"] = float("nan")
    from analysis.records.sealing import hashes

    names = tuple(name for name in hashes.BY_NAME["jobs"].names if name != "donor_cost")
    with_column = hashes._hashed(frame, "jobs", (*names, "donor_cost"), b"s")
    assert with_column == hashes._hashed(frame, "jobs", names, b"s")
    assert not changes_since(log, folder, seal).any


def test_another_country_or_device_does_not_take_a_pages_place(made):
    folder, page = made
    names = {
        sheet(folder, page.parent, language=code).name for code in ("en", "en-GB", "en-US", "de", "de-DE", "de-CH")
    }
    assert names == {f"evidence-2024H1{code}.html" for code in ("", "-en-US", "-de", "-de-CH")}
