"""The counter page of the demo, the private page, little data, and the command at the counter."""

from __future__ import annotations

import dataclasses
import datetime as dt
import html
import json
import re

import pandas as pd
import pytest
from bs4 import BeautifulSoup

from analysis.cli import DEMO, main
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.errors import ReworkError
from analysis.questions.assess import assess
from analysis.questions.counter import CARD_FEES, build_guesses, card_fees, counter_of
from analysis.questions.guess_ledger import Blend, GuessLedger
from analysis.questions.intake_form import ASKED, SHARE, read_intake
from analysis.records.dictionary import DONOR_FACTS
from analysis.records.log import Log, read_log
from analysis.report import counter_card, counter_page, guesses_page
from analysis.report.assess_command import ask_intake
from analysis.report.assess_form import AssessForm
from analysis.report.assess_words import assessment_lines
from analysis.report.counter_pages import publish_counter, publish_guesses
from analysis.report.wording import number
from tests.report.gates import assert_page_behaves, assert_page_is_sound, visible_text
from tests.report.guide_quotes import assert_quoted_rightly
from tests.tables import closed, job, log_of

PAGE = [
    counter_page.first_screen,
    counter_page.counter_ledger,
    counter_page.example_words,
    counter_page.example_facts,
    counter_page.example_alike,
    counter_page.calibration_picture,
    counter_page.measures_grid,
    counter_page.gains_words,
    counter_page.benefit_grid,
    counter_page.replay_grid,
    counter_page.replay_words,
    counter_card.attempts_grid,
    counter_card.selection_words,
    counter_card.selection_grid,
    counter_card.card_head,
    counter_card.card_grid,
    counter_card.card_money,
    counter_card.card_caution,
    counter_card.definitions,
    counter_card.methods,
    counter_card.cautions,
]
MONEY = ["--fee-basis", "no_result_no_fee", "--fee-amount", "900", "--donor-cost", "100"]


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    return publish_counter(DEMO, 30.0, tmp_path_factory.mktemp("counter"), lambda text: None)


@pytest.fixture(scope="module")
def private(tmp_path_factory):
    return publish_guesses(DEMO, "T2", tmp_path_factory.mktemp("private"), lambda text: None)


@pytest.fixture(autouse=True)
def models(tmp_path, monkeypatch):
    monkeypatch.setattr("analysis.cli_counter.MODELS", tmp_path / "models")


def test_the_pages_are_sound(page, private):
    assert_page_is_sound(page)
    assert_page_is_sound(private)


def test_the_guides_quote_the_page_rightly(page):
    assert_quoted_rightly(page)


@pytest.mark.browser
def test_the_pages_behave_in_a_browser(page, private, running_browser):
    assert_page_behaves(page, running_browser)
    assert_page_behaves(private, running_browser)


def test_the_first_screen_says_whether_the_model_is_used_what_it_brought_and_on_how_few(page):
    soup = BeautifulSoup(page.read_text(encoding="utf-8"), "html5lib")
    labels = [tag.get_text() for tag in soup.select(".first .label")]
    assert labels[0] == "Is the model to be trusted?"
    assert labels[1:] == ["Had it been followed last year", "How few jobs", "Jobs left out"]
    first = [tag.get_text() for tag in soup.select(".first .says")]
    assert re.match(r"So far, yes\. The model is used|Not yet\. The rate of the damage class is used", first[0])
    assert re.search(r"\d+ of \d+ accepted jobs would have been declined: \d+ recoveries", first[1])
    assert re.search(r"The fee of the declined was \d+ EUR on average.*, that of the others \d+ EUR", soup.get_text())
    # Where told chances order jobs no better than a coin might, that stands in the first sentence.
    low = int(re.search(r"\((\d+)–\d+ %\) of pairs", soup.select_one(".first").get_text())[1])
    assert ("hardly told which boards would be recovered" in first[0]) == (low <= 50)
    for word in ("holm", "posterior", "bootstrap", "odds", "likelihood", "log score", "auc", "brier"):
        assert word not in soup.select_one(".first").get_text().lower()


def test_each_rival_is_judged_on_as_many_jobs_as_the_model_beside_it(page):
    soup = BeautifulSoup(page.read_text(encoding="utf-8"), "html5lib")
    table = next(each for each in soup.select("table") if "Brier" in each.get_text())
    judged = [[cell.get_text() for cell in row.select("th,td")[:2]] for row in table.select("tbody tr")]
    guesses = read_log(DEMO).tables["jobs"]["guessed_success_pct"].notna().sum()
    assert [name for name, _ in judged] == [
        "model",
        "plain rate",
        "damage-class rate",
        "model, where a guess was written",
        "technician's guess",
    ]
    assert judged[0][1] == judged[1][1] == judged[2][1]
    assert judged[3][1] == judged[4][1]
    assert int(judged[4][1]) <= guesses


def test_no_technician_and_no_guess_ledger_on_the_shared_page(page):
    text = visible_text(BeautifulSoup(page.read_text(encoding="utf-8"), "html5lib"))
    for name in read_log(DEMO).tables["technicians"]["technician_id"]:
        assert not re.search(rf"\b{name}\b", text)


def test_the_private_page_is_of_one_and_says_so(private):
    text = visible_text(BeautifulSoup(private.read_text(encoding="utf-8"), "html5lib"))
    assert "For T2 alone" in text
    assert not re.search(r"\bT[1345]\b", text)


def test_cautions_and_the_card_are_there(page):
    text = visible_text(BeautifulSoup(page.read_text(encoding="utf-8"), "html5lib"))
    for words in (
        "only copy",
        "consent in writing",
        "Local law",
        "Counter card",
        "reworked elsewhere",
        "A chance is no",
    ):
        assert words in text


def shown(log: Log) -> str:
    counter = counter_of(log, 30.0, {})
    counter_page.page_head(counter)
    text = "".join(section(counter)._repr_html_() for section in PAGE)
    for stray in (">nan", " nan", "None", "<NA>", "<tbody></tbody>"):
        assert stray not in text
    return text


@pytest.mark.parametrize("jobs", [1, 5, 20, 60])
def test_few_jobs(jobs):
    shop = dataclasses.replace(Shop(jobs=jobs), chains=False)
    text = shown(Log.from_tables(dict(simulate(shop, 5).tables)))
    if jobs <= 20:
        assert "cannot be compared yet" in text


def test_no_job_at_all():
    text = shown(log_of())
    assert "no closed job yet" in text
    assert "the card would be empty" in text


@pytest.mark.parametrize("won", [True, False])
def test_all_successes_and_all_failures_of_one_class_with_required_columns_only(won):
    jobs = [
        {
            "job_id": f"J{i}",
            "received_date": f"2026-0{1 + i % 2}-05",
            "intake_damage": "drop",
            "decision": "accepted",
            "outcome": "recovered" if won else "not_recovered",
            "closed_date": f"2026-0{1 + i % 2}-28",
            "first_boot_result": "data_readable" if won else "short",
        }
        for i in range(60)
    ]
    text = shown(log_of(jobs=jobs))
    assert "Not yet. The rate of the damage class is used" in text
    assert "cannot be told" in text


def test_open_and_declined_alone():
    assert "Had every declined one failed" not in shown(log_of(jobs=[job("A"), job("B", decision="declined")]))


def test_guesses_without_any_and_without_a_name(tmp_path):
    none = GuessLedger("T1", 0, 3, None, (), None)
    text = guesses_page.first_screen(none)._repr_html_() + guesses_page.bands_grid(none)._repr_html_()
    assert "No guess was written" in text
    with pytest.raises(ReworkError) as stop:
        build_guesses(DEMO, " ")
    said = "No technician is named.\n  Rule: One technician at a time.\n  What to do: Give the code of jobs.csv."
    assert str(stop.value) == said


@pytest.mark.parametrize(
    ("recorded", "fees"),
    [
        ([100.0] * 4, CARD_FEES),
        ([], CARD_FEES),
        ([0.0] * 9, CARD_FEES),
        ([100.0] * 9, (60.0, 76.0, 92.0, 110.0, 120.0, 140.0)),
        ([50_000.0] * 5 + [90_000.0] * 5, (30_000.0, 49_000.0, 68_000.0, 88_000.0, 110_000.0, 130_000.0)),
    ],
)
def test_the_card_has_fees_of_this_shop(recorded, fees):
    assert card_fees(pd.Series(recorded, dtype=float)) == fees


def test_the_form_answers_as_the_command_does_and_tells_all_faults():
    counter = counter_of(log_of(jobs=[closed(f"J{i}", bench_hours=5.0) for i in range(12)]), 30.0, {})
    form = AssessForm(counter)
    assert set(form.fields) == {*(column.name for column in (*ASKED, *DONOR_FACTS)), SHARE}
    form.button.click()
    assert "intake_damage is missing" in form.answer.value
    form.fields["intake_damage"].value = "drop"
    form.fields["device_age_years"].value = "old"
    form.fields["fee_amount"].value = "<b>"
    form.button.click()
    for words in ("device_age_years", "fee_amount", "&lt;b&gt;"):
        assert words in form.answer.value
    form.fields["device_age_years"].value = form.fields["fee_amount"].value = ""
    form.button.click()
    intake = read_intake({"intake_damage": "drop"}, counter.log.settings, dt.date.today())
    told = assessment_lines(assess(counter.bench, intake, counter.log.settings), counter.log.settings)
    assert html.unescape(re.sub("<[^>]+>", "", form.answer.value)) == "\n".join(told)
    assert "text/html" not in form._repr_mimebundle_()  # a published page shows nothing of it


@pytest.mark.parametrize(
    ("scores", "told"),
    [
        ((-0.6, -0.7, -0.65), "guess and model together told most"),
        ((-0.67, -0.65, -0.61), "the model alone told more than the blend"),
        ((-0.67, -0.61, -0.65), "the guess alone told more than the blend"),
    ],
)
def test_a_blend_that_told_less_than_one_alone_is_not_praised(scores, told):
    ledger = GuessLedger("T1", 0, 3, None, (), Blend(0.5, 0.5, 40, *scores))
    assert told in guesses_page.first_screen(ledger)._repr_html_()


def test_nothing_is_not_less_than_nothing():
    assert [number(v, d) for v, d in ((-0.0, 0), (-0.3, 0), (-0.04, 1), (-0.6, 0), (-0.05, 2))] == [
        "0",
        "0",
        "0.0",
        "−1",
        "−0.05",
    ]


def test_a_bad_share_is_refused():
    with pytest.raises(ReworkError, match="start share"):
        counter_of(log_of(jobs=[closed("A")]), 100.0, {})


def _run(capsys, *flags) -> str:
    assert main(["assess", str(DEMO), *flags]) == 0
    return capsys.readouterr().out


def test_the_flags_are_the_columns_known_before_work(capsys):
    with pytest.raises(SystemExit):
        main(["assess", "--help"])
    told = capsys.readouterr().out
    for name in (*(column.name for column in (*ASKED, *DONOR_FACTS)), SHARE):
        assert f"--{name.replace('_', '-')}" in told
    for name in ("technician", "guessed", "decision", "outcome", "lot"):
        assert f"--{name}" not in told


def test_the_command_on_a_routine_and_a_strange_intake(capsys):
    out = _run(capsys, "--intake-damage", "drop", "--device-age-years", "3", "--board-family", "FAM-B", *MONEY)
    assert re.match("ACCEPT|DISCUSS|DECLINE", out)
    for words in ("Recovery: ", "First boot: ", "past jobs resemble it", "Expected margin", "margin a bench hour"):
        assert words in out
    out = _run(capsys, "--intake-damage", "drop", "--device-age-years", "14.5", *MONEY)
    assert out.startswith("OUTSIDE OUR EXPERIENCE\n  Device age of 14.5 years was never seen")
    assert "Recovery: " not in out


def test_json_holds_the_same_and_no_nan(capsys):
    out = _run(capsys, "--intake-damage", "drop", "--json")
    found = json.loads(out, parse_constant=pytest.fail)
    assert found["recommendation"] == "discuss"
    assert found["worth"] is None
    assert found["lacking"] == ["fee_basis", "fee_amount", "donor_cost"]
    assert 0 < found["chances"]["recovered"]["low"] < found["chances"]["recovered"]["high"] < 1
    assert found["alike"]["n"] == len(found["alike"]["jobs"])


def test_another_attempt_stands_first_and_without_the_chances_of_an_intake(capsys):
    flags = ["--intake-damage", "liquid", *MONEY, "--after-test", "2"]
    out = _run(capsys, *flags)
    assert "Another attempt after 2 failed boot tests: " in out
    assert "like those that were continued" in out
    assert out.startswith("Another attempt after 2 failed boot tests: ")
    assert re.match(
        r"Recovery at that test, what the fee hangs on: \d+ % \(\d+ of \d+; 80 % interval", out.splitlines()[1]
    )
    # The chances of the intake are of boards before any test: this one has failed.
    assert "Recovery: " not in out
    assert "First boot: " not in out
    everything = json.loads(_run(capsys, *flags, "--json"), parse_constant=pytest.fail)
    assert "chances" not in everything
    assert next(iter(everything)) == "another_attempt"
    told = everything["another_attempt"]
    assert told["after_failed_tests"] == 2
    assert f"booted {told['next_booted']['x']} of {told['next_booted']['n']} jobs" in out
    assert main(["assess", str(DEMO), "--intake-damage", "liquid", "--after-test", "40"]) == 2
    assert "continued after 40" in capsys.readouterr().err


def test_a_waiting_list_with_a_random_share(capsys, tmp_path):
    path = tmp_path / "waiting.csv"
    rows = "".join(
        f"W{i},{damage},no_result_no_fee,{700 + 50 * i},100\n" for i, damage in enumerate(["drop", "heat"] * 3)
    )
    path.write_text(f"job_id,intake_damage,fee_basis,fee_amount,donor_cost\n{rows}", encoding="utf-8")
    out = _run(capsys, "--waiting", str(path), "--take-share", "50", "--random-seed", "7")
    margins = [float(cell.replace("−", "-")) for cell in re.findall(r"^W\d.*?([−\d.]+) +\d+$", out, re.M)]
    assert len(margins) == 6
    assert margins == sorted(margins, reverse=True)
    assert "if their clients know of it and agree" in out
    lacking = tmp_path / "lacking.csv"
    lacking.write_text("job_id,intake_damage\nV1,drop\n", encoding="utf-8")
    assert "V1: Its worth cannot be told without how the client pays" in _run(capsys, "--waiting", str(lacking))
    listed = json.loads(_run(capsys, "--waiting", str(path), "--json"))
    assert len(listed) == 6
    assert "taken_at_random" not in listed[0]
    drawn = json.loads(
        _run(capsys, "--waiting", str(path), "--json", "--take-share", "50", "--random-seed", "7"),
        parse_constant=pytest.fail,
    )
    assert re.search(r"agree: (.*)\.", out)[1] == (
        ", ".join(sorted(e["name"] for e in drawn if e["taken_at_random"])) or "none"
    )
    assert main(["assess", str(DEMO), "--waiting", str(tmp_path / "none.csv")]) == 2


def test_wrong_values_are_refused_without_a_trace(capsys):
    assert main(["assess", str(DEMO), "--intake-damage", "wet", "--device-age-years", "x"]) == 2
    told = capsys.readouterr().err
    assert "intake_damage" in told
    assert "device_age_years" in told
    assert main(["assess", "nowhere", "--intake-damage", "drop"]) == 2
    assert "nowhere" in capsys.readouterr().err


def test_questions_at_the_terminal(monkeypatch, capsys):
    from analysis.records.settings import Settings

    typed = iter(["phone", "", "3", "wet", "liquid", "", "", "full", "staged", "25", "600", "100"])
    texts = ask_intake(Settings(), dt.date(2026, 11, 1), lambda prompt: next(typed), lambda text: None)
    assert texts["intake_damage"] == "liquid"
    assert texts[SHARE] == "25"
    assert texts["fee_amount"] == "600"
    monkeypatch.setattr("builtins.input", lambda prompt="": (_ for _ in ()).throw(EOFError))
    assert main(["assess", str(DEMO)]) == 2
    assert "no terminal to ask at" in capsys.readouterr().err


def test_the_counter_command_publishes_and_says_where(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(
        "analysis.report.counter_pages.publish_counter", lambda log, share, out, say: out / "counter.html"
    )
    assert main(["counter", "--out", str(tmp_path)]) == 0
    assert "counter.html" in capsys.readouterr().out
    assert main(["counter", str(DEMO), "--technician", "T77", "--out", str(tmp_path)]) == 2
    assert "T77" in capsys.readouterr().err
    assert not list(tmp_path.glob("*.html"))
