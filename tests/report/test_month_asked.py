"""The month asked for is looked at before the log is read, and one digit is enough for its number."""

from __future__ import annotations

import pytest

from analysis.errors import ReworkError
from analysis.report import monthly
from tests.files import base, write


@pytest.mark.parametrize("written", ["septmber", "2026-13", "2026", "26-9", "2026-00"])
def test_a_month_that_is_none_is_refused_before_the_log_is_read(tmp_path, written):
    said: list[str] = []
    with pytest.raises(ReworkError, match="is not a month"):
        monthly.publish_review(tmp_path / "no such log", written, tmp_path / "out", said.append)
    assert said == []


@pytest.mark.parametrize("written", ["2024-03", "2024-3", " 2024/3", "2024.03"])
def test_a_month_with_one_digit_is_read(tmp_path, monkeypatch, written):
    given: dict[str, str] = {}
    monkeypatch.setattr(monthly, "page_of_log", lambda name, log, out, say, **values: given.update(values) or out)
    out = monthly.publish_review(write(tmp_path / "log", base()), written, tmp_path / "out", lambda line: None)
    assert given["month"] == "2024-03"
    assert out.name == "review-2024-03.html"
