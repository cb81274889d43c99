"""A preheat column of a shop's own: "no" is 0, a blank stays blank, and "yes" without a number is asked about."""

from __future__ import annotations

import datetime as dt

import pytest

from analysis.records.dictionary import HEAT_STEPS
from analysis.records.entering.cells import AnswerError, Rules
from analysis.records.settings import Settings
from tests.records.importing.sheets import asked, cells, replaced, run, sheet

HEAD = ("Job", "Received", "Damage", "Decision", "CPU install temp (°C)", "Preheat (°C)")
SAID = ("150", "no", "None", "n", "", "0", "yes")


def test_none_in_words_is_nought_and_yes_without_a_number_is_asked_about(tmp_path):
    rows = [(f"J-{at}", "2025-01-05", "drop", "accepted", "330", text) for at, text in enumerate(SAID)]
    source, log = sheet(tmp_path / "sheet.csv", HEAD, rows), tmp_path / "log"
    run(source, log)
    replaced(
        log / "import.toml",
        ('to = "?" # QUESTION: maybe to', 'to = "heat_steps.preheat_c" # to'),
        ('chip = "?" # QUESTION', 'chip = "processor" #'),
        ('step = "?" # QUESTION', 'step = "install" #'),
    )
    done = run(source, log)
    assert asked(done) == {(HEAD[-1], "values")}
    assert "without a number it is not recorded" in (log / "import.toml").read_text(encoding="utf-8")
    replaced(log / "import.toml", ('yes = "?"', 'yes = "blank"'))
    assert asked(run(source, log)) == set()
    assert cells(log, "preheat_c", "heat_steps") == ["150", "0", "0", "0", "", "0", ""]


@pytest.mark.parametrize("typed", ["0", "none", "No"])
def test_enter_takes_none_in_words(typed):
    rules = Rules(Settings(), dt.date(2025, 6, 1))
    assert rules.read(HEAT_STEPS["preheat_c"], typed) == "0"
    with pytest.raises(AnswerError):
        rules.read(HEAT_STEPS["preheat_c"], "warm")
