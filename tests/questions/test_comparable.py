"""A comparison of nothing is refused before a page is made of it."""

from __future__ import annotations

import pytest

from analysis.cli import main
from analysis.errors import LogError
from analysis.questions.comparable import comparable_log
from analysis.records.blank import blank_log
from tests.files import base, write


def test_an_empty_log_gives_no_page_of_a_comparison(tmp_path, capsys):
    blank_log(tmp_path / "log")
    assert main(["compare", str(tmp_path / "log"), "--out", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err
    assert "the log holds no first boot yet" in told
    assert "What to do: Enter what boot test 1 of accepted jobs gave" in told
    assert not (tmp_path / "out").exists()


def test_one_first_boot_is_enough_to_say_what_is_lacking_and_declined_jobs_are_none(tmp_path):
    tables = base()
    write(tmp_path / "whole", tables)
    assert comparable_log(tmp_path / "whole", lambda text: None).hash
    declined = [row for row in tables["jobs"] if row["decision"] == "declined"]
    write(tmp_path / "declined", {"jobs": declined})
    with pytest.raises(LogError, match="no first boot yet"):
        comparable_log(tmp_path / "declined", lambda text: None)
