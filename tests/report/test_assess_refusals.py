"""Flags of ``rework assess`` that cannot be used are refused word for word, with what to do."""

from __future__ import annotations

import pytest

from analysis.cli import DEMO, main

INTO_THE_FILE = "What to do: Put facts into the file, or assess one intake without --waiting."


@pytest.mark.parametrize(
    ("flags", "told"),
    [
        (
            ["--take-share", "20", "--intake-damage", "drop"],
            "--take-share needs a list to draw from.\n  What to do: Add --waiting FILE.csv.",
        ),
        (
            ["--waiting", "w.csv", "--after-test", "1"],
            f"With --waiting these flags would not be looked at: --after-test.\n  {INTO_THE_FILE}",
        ),
        (
            ["--waiting", "w.csv", "--fee-amount", "600", "--device-class", "phone"],
            f"With --waiting these flags would not be looked at: --device-class, --fee-amount.\n  {INTO_THE_FILE}",
        ),
        (
            ["--waiting", "w.csv", "--take-share", "120"],
            "--take-share 120 is not a percentage.\n  Rule: from 0 to 100",
        ),
        (
            ["--after-test", "-1", "--intake-damage", "drop"],
            "--after-test -1 is no number of failed tests.\n  Rule: 1 or more",
        ),
        (
            ["--after-test", "1", "--intake-damage", "drop", "--known-good", "untested"],
            "With --after-test these flags would not be looked at: --known-good.\n"
            "  What to do: Leave them out; without --after-test they are shown as an option.",
        ),
        (
            ["--start-share", "30", "--intake-damage", "drop", "--fee-basis", "flat"],
            "--start-share belongs to a staged fee, not to 'flat'.\n"
            "  What to do: Give --fee-basis staged, or leave --start-share out.",
        ),
    ],
)
def test_flags_that_would_be_passed_over_are_refused(capsys, flags, told):
    assert main(["assess", str(DEMO), *flags]) == 2
    assert capsys.readouterr().err == f"rework: {told}\n"
