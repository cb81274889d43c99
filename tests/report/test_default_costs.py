"""What the shop never gave is named as a default wherever a verdict rests on it."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from analysis.cli import main
from analysis.questions.counter import counter_of
from analysis.records.log import Log
from analysis.report import counter_card, counter_page
from tests.tables import closed, log_of

MONEY = {"fee_basis": "staged", "fee_amount": 500.0, "donor_cost": 90.0}
DEFAULT = "60 EUR (the default; set bench_hour_cost in bench.toml)"
SHARE = "30 % is assumed to be due at the start (nobody gave it; set staged_start_share_pct in bench.toml)"


def log_at(basis="staged", **settings) -> Log:
    """Liquid always fails and drops never do, over a year and a half."""
    jobs = []
    for at in range(72):
        month = f"{2025 + at // 48}-{at // 4 % 12 + 1:02}"
        won = bool(at % 4 % 2)
        base = closed(f"J-{at}", "recovered" if won else "not_recovered", **MONEY)
        base |= {"fee_basis": basis, "intake_damage": "drop" if won else "liquid", "received_date": f"{month}-03"}
        jobs.append(base | {"closed_date": f"{month}-20", "first_boot_result": "data_readable" if won else "short"})
    log = log_of(jobs=jobs)
    return replace(log, settings=replace(log.settings, **settings))


def says(counter):
    """Sentence and small print of what following the rule would have brought."""
    found = counter_page._brought(counter)
    return found.says, found.detail


@pytest.fixture(scope="module")
def silent():
    return counter_of(log_at(), 0.0, {})


def test_the_sentence_carries_both_sums_and_what_they_rest_on(silent):
    assert silent.replay.declined
    sentence, small = says(silent)
    assert re.search(
        r"With other work for these hours it would have (saved|cost) .*; without, the hours being paid anyway", sentence
    )
    assert DEFAULT in sentence
    assert SHARE in small
    assert "paid anyway" not in small


def test_a_cost_and_a_share_that_the_shop_gave_are_no_default():
    counter = counter_of(log_at(bench_hour_cost=45.0, staged_start_share_pct=20.0), 0.0, {})
    assert counter.replay.start_share == pytest.approx(0.2)
    assert "the default" not in " ".join(says(counter))
    assert "an hour costs 45 EUR, " in counter_card.card_money(counter).under


def test_a_log_without_staged_fees_needs_no_share(silent):
    assert silent.replay.staged_n == len(silent.replay.rows) > 0
    assert "assumed" not in says(counter_of(log_at("flat"), 0.0, {}))[0]


def test_page_and_card_name_the_default_cost_beside_the_verdict(silent):
    example = " ".join(counter_page.example_words(silent).paragraphs)
    verdict = next(text for text in counter_page.example_words(silent).paragraphs if text.startswith("Recommendation"))
    assert DEFAULT in verdict, example
    assert SHARE in verdict
    assert DEFAULT in counter_card.card_money(silent).under
    assert DEFAULT in counter_page.replay_grid(silent).under


def test_the_command_names_the_default_cost_beside_the_verdict(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("analysis.cli_counter.MODELS", tmp_path / "models")
    head = "job_id,received_date,intake_damage,decision,outcome,closed_date,first_boot_result,bench_hours\n"
    rows = [f"J-{at},2025-01-03,drop,accepted,recovered,2025-01-20,data_readable,5" for at in range(20)]
    rows += [f"F-{at},2025-01-03,drop,accepted,not_recovered,2025-01-20,short,6" for at in range(20)]
    (tmp_path / "jobs.csv").write_text(head + "\n".join(rows) + "\n", encoding="utf-8")
    flags = ["--intake-damage", "drop", "--fee-basis", "flat", "--fee-amount", "500", "--donor-cost", "90"]
    assert main(["assess", str(tmp_path), *flags]) == 0
    verdict = capsys.readouterr().out.split("\n\n")[0]
    assert f"Counted with a bench hour of {DEFAULT}." in verdict
    assert main(["assess", str(tmp_path), *flags, "--json"]) == 0
    assert '"bench_hour_cost_is_default": true' in capsys.readouterr().out
    (tmp_path / "bench.toml").write_text("bench_hour_cost = 40\n", encoding="utf-8")
    assert main(["assess", str(tmp_path), *flags]) == 0
    assert "default" not in capsys.readouterr().out
