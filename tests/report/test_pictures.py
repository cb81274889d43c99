"""Pictures of pages: each page wide, on a phone and each of its printed sheets, with a contact sheet of all."""

from __future__ import annotations

import shutil
from contextlib import nullcontext

import pytest

from analysis.report.page import PageHead, Prose
from analysis.report.plain_page import page_html
from tests.report import pictures


@pytest.mark.browser
def test_every_page_of_a_folder_is_taken_and_listed(tmp_path, monkeypatch, running_browser, capsys):
    monkeypatch.setattr(pictures, "browser", lambda: nullcontext(running_browser))
    for name, paragraphs in (("short", 1), ("long", 120)):
        head = PageHead(name, "Bench", "650 jobs", "", True)
        (tmp_path / f"{name}.html").write_text(page_html(head, [Prose(["12 of 18 booted."] * paragraphs)]), "utf-8")
    assert pictures.main(tmp_path, tmp_path / "out") == 0
    made = {path.name for path in (tmp_path / "out").iterdir()}
    whole = {f"{page}-{kind}" for page in ("short", "long") for kind in ("wide.png", "phone.png", "print.pdf")}
    sheets = {"short-print-1.png", "long-print-1.png", "long-print-2.png"} if shutil.which("pdftoppm") else set()
    assert whole | sheets | {"contact.html", "contact.png"} <= made
    shown = (tmp_path / "out" / "contact.html").read_text(encoding="utf-8")
    assert all(f'src="{name}"' in shown for name in made if name.endswith(".png") and name != "contact.png")
    assert "contact.html" in capsys.readouterr().out


def test_a_folder_without_pages_is_told(tmp_path, capsys):
    assert pictures.main(tmp_path, tmp_path / "out") == 2
    assert "No page in" in capsys.readouterr().err
