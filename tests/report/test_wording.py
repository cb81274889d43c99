"""Numbers are written one way: whole percents halves up, intervals, and no difference that its parts contradict."""

from __future__ import annotations

import math

import pytest

from analysis.report.wording import interval, percent, rounded, span


@pytest.mark.parametrize(
    ("share", "shown"), [(9 / 40, "23 %"), (0.125, "13 %"), (0, "0 %"), (1, "100 %"), (0.7, "70 %")]
)
def test_whole_percents_round_halves_up_as_the_sheet_for_clients_does(share, shown):
    assert percent(share) == shown
    assert interval(share, share) == f"{shown.split()[0]}–{shown}"


@pytest.mark.parametrize(
    ("low", "high", "digits", "shown"),
    [
        (7, 13, 0, "7–13"),
        (-239, 2300, 0, "−239 to 2300"),
        (-0.39, 0.97, 2, "−0.39 to 0.97"),
        (-0.2, 3, 0, "0–3"),
        (math.nan, 3, 0, "–"),
    ],
)
def test_an_interval_has_a_dash_and_a_word_where_a_sign_would_hide_in_it(low, high, digits, shown):
    assert span(low, high, digits) == shown


@pytest.mark.parametrize("a", [x / 997 for x in range(0, 997, 83)])
@pytest.mark.parametrize("b", [x / 991 for x in range(0, 991, 71)])
def test_shares_and_their_difference_contradict_one_another_only_where_it_is_said(a, b):
    shown = int(percent(a).split()[0]) - int(percent(b).split()[0])
    assert rounded(a, b, a - b) == ("" if shown == round(100 * (a - b)) else ", rounded")


def test_both_cases_of_rounding_occur():
    assert rounded(0.5849, 0.7151, -0.1302) == ", rounded"
    assert rounded(0.58, 0.71, -0.13) == ""
