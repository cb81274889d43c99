"""A line of bench.toml that cannot be read is told how to be mended."""

from __future__ import annotations

import pytest

from analysis.records.settings import examine_settings


@pytest.mark.parametrize(
    ("line", "todo"),
    [
        ("currency = EUR", 'Put words in quotation marks: currency = "EUR".'),
        ("shop_name = Bench on the corner  # ours", 'Put words in quotation marks: shop_name = "Bench on the corner".'),
        ("currency = €", 'Put words in quotation marks: currency = "€".'),
        ("date_order=day_first", 'Put words in quotation marks: date_order = "day_first".'),
        ("invented = True", "Write it small: invented = true."),
        ('currency = "EUR', "Mend the line."),
        ("bench_hour_cost = 60,5", "Mend the line."),
        ("just words", "Mend the line."),
    ],
)
def test_words_without_quotation_marks_are_shown_with_them(tmp_path, line, todo):
    (tmp_path / "bench.toml").write_text(f"minimum_class_n = 5\n{line}\n", encoding="utf-8")
    _, (problem,) = examine_settings(tmp_path)
    assert problem.line == 2
    assert problem.todo == f"{todo} Every setting has its default until then."
    assert "words in quotation marks" in problem.rule


def test_the_advice_makes_the_line_readable(tmp_path):
    (tmp_path / "bench.toml").write_text('currency = "EUR"\n', encoding="utf-8")
    settings, problems = examine_settings(tmp_path)
    assert (settings.currency, problems) == ("EUR", [])
