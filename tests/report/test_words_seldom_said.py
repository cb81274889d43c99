"""Sentences that the demo never brings about: each is said where it holds, with numbers worked by hand."""

from __future__ import annotations

import math

import pytest

from analysis.errors import ReworkError
from analysis.models.intervals import wilson
from analysis.models.scores import score
from analysis.questions.another_attempt import AttemptWorth, GoOn
from analysis.questions.cause_trends import CauseChange
from analysis.questions.guess_ledger import Blend, GuessBand, GuessLedger
from analysis.questions.verdicts import Verdict
from analysis.report import guesses_page, monthly
from analysis.report.attempt_words import _worth
from analysis.report.evidence_sheet import publish_evidence
from analysis.report.review_causes import _change
from tests.evidence.sealed import demo_copy
from tests.files import base, write


def ledger(*given: tuple[float, int, int]) -> GuessLedger:
    """Guesses of (chance, won, jobs)."""
    p = [chance for chance, _, n in given for _ in range(n)]
    y = [k < won for _, won, n in given for k in range(n)]
    bands = tuple(GuessBand(0, 100, chance, wilson(won, n)) for chance, won, n in given)
    return GuessLedger("T1", len(p), 3, score(p, y), bands, None)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (
            [(0.3, 45, 60)],
            "Guessed 30 % on average; 45 of 60 (75 %) were recovered. Guesses were too low.",
        ),
        (
            [(0.9, 40, 60)],
            "Guessed 90 % on average; 40 of 60 (67 %) were recovered. Guesses were too high.",
        ),
        (
            [(0.7, 43, 60)],
            "Guessed 70 % on average; 43 of 60 (72 %) were recovered. The difference is within chance.",
        ),
    ],
)
def test_guesses_that_were_too_low_or_too_high_are_told_so(given, said):
    found = guesses_page._on_average(ledger(*given))
    assert f"{found.says} {found.detail}" == f"{said} 3 closed jobs without a guess."


@pytest.mark.parametrize(
    ("given", "said"),
    [
        # Slope of two guesses, by hand: (logit 0.6 - logit 0.4) / (logit 0.9 - logit 0.1) = 0.811 / 4.394 = 0.18.
        (
            [(0.9, 24, 40), (0.1, 16, 40)],
            "High and low guesses lie further apart than what came: guesses nearer the middle would have told more."
            " Calibration slope 0.18 ",
        ),
        # The other way round: 4.394 / 0.811 = 5.42.
        (
            [(0.6, 36, 40), (0.4, 4, 40)],
            "What came lay further apart than the guesses: bolder ones would have told more. Calibration slope 5.42 ",
        ),
        (
            [(0.75, 30, 40), (0.25, 10, 40)],
            "How far high and low guesses lie apart fits what came, within chance. Calibration slope 1.00 ",
        ),
    ],
)
def test_guesses_too_far_apart_or_too_near_are_told_so(given, said):
    found = guesses_page._spread(ledger(*given))
    assert f"{found.says} {found.detail}".startswith(said)


@pytest.mark.parametrize(
    ("scores", "said"),
    [
        ((-0.5, -0.6, -0.7), "So far guess and model together told most."),
        ((-0.6, -0.5, -0.7), "So far the guess alone told more than the blend: until that changes, go by it."),
        ((-0.6, -0.7, -0.5), "So far the model alone told more than the blend: until that changes, go by it."),
    ],
)
def test_who_told_most_is_who_scored_highest(scores, said):
    assert guesses_page._told_most(Blend(0.5, 0.5, 30, *scores)) == said


@pytest.mark.parametrize(
    ("money", "said"),
    [
        ((math.nan, 300.0, math.nan), "Its cost cannot be told: bench hours at the tests were not recorded."),
        (
            (120.0, math.nan, math.nan),
            "Its hours cost 120 EUR (a further donor or part comes on top); without the fee it cannot be told whether"
            " they are earned.",
        ),
        (
            (120.0, 0.0, math.nan),
            "Its hours cost 120 EUR (a further donor or part comes on top); no part of the fee hangs on success, so"
            " that money says nothing: what was promised to the client decides.",
        ),
        (
            (120.0, 480.0, 0.25),
            "Its hours cost 120 EUR (a further donor or part comes on top), 480 EUR of the fee hang on success: it pays"
            " from a chance of 25 % on.",
        ),
        (
            (120.0, 80.0, 1.5),
            "Its hours cost 120 EUR (a further donor or part comes on top), more than the 80 EUR that hang on success.",
        ),
    ],
)
def test_what_another_attempt_is_worth_is_said_as_far_as_it_is_known(money, said):
    assert _worth(AttemptWorth(GoOn.CANNOT_TELL, *money), "EUR") == said


def test_a_cause_that_changed_is_told_with_both_counts():
    more = CauseChange("pads lost", 4, 2, 0.01, Verdict.CLEAR, True)
    less = CauseChange("poor joint", 1, 20, 0.1, Verdict.LEANING, False)
    assert _change(more, 5, 40) == "pads lost more often (clear): 4 of 5 against 2 of 40"
    assert _change(less, 5, 40) == "poor joint less often (leaning): 1 of 5 against 20 of 40"


def test_a_review_of_an_older_month_and_jobs_set_aside_are_told_before_the_page_is_made(tmp_path, monkeypatch):
    tables = base()
    tables["jobs"] += [
        tables["jobs"][0] | {"job_id": "J-X", "intake_damage": "fire"},
        {"job_id": "J-Y", "received_date": "2024-10-20", "intake_damage": "drop", "decision": "declined"},
    ]
    said: list[str] = []
    monkeypatch.setattr(monthly, "page_of_log", lambda name, log, out, say, **values: out)
    monthly.publish_review(write(tmp_path / "log", tables), "", tmp_path / "out", said.append)
    assert said[1:] == [
        "2024-04 is the latest complete month with entries; the last entry of the log is of 2024-10-20.",
        "1 job with faults is set aside; 'rework check' lists it.",
        "Making the review of 2024-04 …",
    ]


def test_a_draft_for_clients_has_no_recount_file(tmp_path):
    folder, said = demo_copy(tmp_path / "log"), []
    with pytest.raises(ReworkError, match="A draft has no recount file: its salt is that of a seal") as stop:
        publish_evidence(folder, tmp_path / "pages", said.append, half="2024H1", recount_file=tmp_path / "recount.csv")
    assert stop.value.todo == "Seal the log with 'rework seal' first."
    assert said[-1] == "The log is not sealed: this is a draft, not to be handed out. 'rework seal' seals it."
    assert {path.name for path in tmp_path.iterdir()} == {"log"}
