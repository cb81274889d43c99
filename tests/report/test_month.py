"""Every page of a month in one go: one that fails is told of and takes no other along."""

from __future__ import annotations

import multiprocessing
import shutil
import sys
from pathlib import Path

import pytest

from analysis.errors import LogError, ModelError, RenderError, ReworkError, SettingsError
from analysis.report import month, render

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


def _good(order, say):
    say("  at work")
    path = order.out / "good.html"
    path.write_text(f"{order.folder.name} {order.month}", encoding="utf-8")
    return path


def _bad(order, say):
    raise RenderError("the disk is full", todo="Make room.")


def _refused(order, say):
    raise ModelError("too few jobs", todo="Wait.")


@pytest.fixture(params=["at once", "one after the other"])
def said(request, monkeypatch):
    copies = request.param == "at once"
    if copies and ("fork" not in multiprocessing.get_all_start_methods() or sys.platform == "darwin"):
        pytest.skip("no copies of a running process here")
    monkeypatch.setattr(month, "can_be_copied", lambda: copies)  # the tests' own process may have several threads
    return request.param


def test_a_page_that_fails_is_named_and_the_others_are_made(tmp_path, monkeypatch, capfd, said):
    monkeypatch.setattr(month, "PAGES", {"bad": _bad, "good": _good})
    with pytest.raises(RenderError) as told:
        month.publish_month(DEMO, "2024-09", tmp_path, print)
    assert "1 of 2 pages could not be made" in str(told.value)
    assert "bad: the disk is full" in str(told.value)
    assert (tmp_path / "good.html").read_text(encoding="utf-8") == "data_demo 2024-09"
    out = capfd.readouterr().out
    assert "good: at work" in out
    assert ("one after the other" in out) == (said == "one after the other")


def test_a_page_that_the_log_does_not_carry_is_told_and_no_failure(tmp_path, monkeypatch, capfd, said):
    monkeypatch.setattr(month, "PAGES", {"refused": _refused, "good": _good})
    assert month.publish_month(DEMO, "", tmp_path, print) == [tmp_path / "good.html"]
    assert "No page, refused: too few jobs" in capfd.readouterr().out
    monkeypatch.setattr(month, "PAGES", {"refused": _refused})
    with pytest.raises(RenderError, match="too few jobs"):
        month.publish_month(DEMO, "", tmp_path, print)


def test_where_all_goes_well_every_path_is_given_in_the_order_of_the_pages(tmp_path, monkeypatch, said):
    monkeypatch.setattr(month, "PAGES", {"one": _good, "two": _good})
    assert month.publish_month(DEMO, "", tmp_path, print) == [tmp_path / "good.html"] * 2


def test_a_log_that_cannot_be_read_is_told_before_any_page_is_begun(tmp_path, monkeypatch):
    monkeypatch.setattr(month, "PAGES", {"good": _good})
    with pytest.raises(LogError, match=r"no jobs\.csv"):
        month.publish_month(tmp_path, "", tmp_path, print)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(("asked", "told"), [("2024-13", "is not a month"), ("2031-01", "holds nothing for 2031-01")])
def test_a_month_that_cannot_be_reviewed_is_told_before_any_page_is_begun(tmp_path, monkeypatch, asked, told):
    monkeypatch.setattr(month, "PAGES", {"good": _good})
    with pytest.raises(ReworkError, match=told):
        month.publish_month(DEMO, asked, tmp_path, print)
    assert not list(tmp_path.iterdir())


def test_a_contrast_that_cannot_be_read_is_told_before_any_page_is_begun(tmp_path, monkeypatch):
    log = tmp_path / "log"
    shutil.copytree(DEMO, log)
    settings = log / "bench.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + '\nextra_contrasts = ["few passes"]\n', encoding="utf-8")
    monkeypatch.setattr(month, "PAGES", {"good": _good})
    with pytest.raises(SettingsError, match="few passes"):
        month.publish_month(log, "", tmp_path / "out", print)
    assert not (tmp_path / "out").exists()


def test_the_grammar_of_addresses_is_left_out_and_may_be_imported_afterwards():
    with render._without_address_grammar():
        if "rfc3987_syntax" not in sys.modules or sys.modules["rfc3987_syntax"] is None:
            with pytest.raises(ImportError):
                import rfc3987_syntax  # noqa: F401
    assert sys.modules.get("rfc3987_syntax", "never blocked") is not None
