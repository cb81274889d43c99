"""HTML, scripts and formulas in every text cell of a log: shown as text, never run, in a real browser."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import pytest

from analysis.records.dictionary import TABLES
from analysis.report.check_page import publish_check
from analysis.report.monthly import publish_review
from tests.hostile.commands import ROOT
from tests.report.small_logs import write_case

ATTACKS = (
    "<script>window.struck=1</script>",
    "<img src=x onerror='window.struck=1'>",
    "</td></table><svg onload=window.struck=1>",
    "[x](javascript:window.struck=1)",
    "$\\href{javascript:window.struck=1}{x}$ **b**",
    "{{ 7*7 }}{% raw %}&lt;b&gt;",
)


def struck(folder: Path, rows: int) -> Path:
    """The demo log with an attack in every cell of its first rows, one column after another, all tables."""
    shutil.copytree(ROOT / "data_demo", folder)
    for table in TABLES:
        path = folder / table.file
        if not path.is_file():
            continue
        with path.open(encoding="utf-8", newline="") as file:
            heads, *body = csv.reader(file)
        for at in range(min(rows * len(heads), len(body))):
            body[at][at % len(heads)] = ATTACKS[at % len(ATTACKS)]
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows([heads, *body])
    return folder


def opened(browser, path: Path) -> tuple[list[str], list[str], object]:
    """Requests beyond the file, errors and dialogs, and the canary, after a page was opened and clicked about."""
    page = browser.new_page()
    requests, told = [], []
    page.on("request", lambda request: requests.append(request.url))
    page.on("console", lambda message: told.append(message.text) if message.type == "error" else None)
    page.on("dialog", lambda dialog: (told.append(dialog.message), dialog.dismiss()))
    page.goto(path.resolve().as_uri())
    for link in page.query_selector_all("main a"):
        assert (link.get_attribute("href") or "").startswith("#")
    page.wait_for_timeout(200)
    canary = page.evaluate("window.struck")
    page.close()
    return [url for url in requests if url != path.resolve().as_uri() and not url.startswith("data:")], told, canary


@pytest.mark.browser
def test_nothing_in_a_cell_runs_in_the_page_of_the_check(tmp_path, running_browser):
    page = publish_check(struck(tmp_path / "log", 3), tmp_path / "out", lambda _: None)
    html = page.read_text(encoding="utf-8")
    assert "&lt;script&gt;window.struck=1" in html, "the attack is shown as text"
    assert "<script" not in html
    assert opened(running_browser, page) == ([], [], None)


@pytest.mark.browser
def test_nothing_in_a_free_cell_runs_in_the_review(tmp_path, running_browser):
    """What the check lets pass (names of the bench in bench.toml) reaches the page, as text."""
    folder = write_case("60 jobs", tmp_path / "log")
    lines = (ROOT / "data_demo" / "bench.toml").read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines if not line.startswith(("shop_name", "currency"))]
    named = [f"shop_name = '''{ATTACKS[0]}{ATTACKS[1]}{ATTACKS[4]}'''", f"currency = '''{ATTACKS[2]}'''"]
    (folder / "bench.toml").write_text("\n".join([*named, *kept]) + "\n", encoding="utf-8")
    page = publish_review(folder, "", tmp_path / "out", lambda _: None)
    html = page.read_text(encoding="utf-8")
    assert "&lt;script&gt;window.struck=1" in html
    assert "&lt;svg onload=window.struck=1" in html
    assert "<script" not in html
    assert opened(running_browser, page) == ([], [], None)


def test_a_code_that_holds_markup_never_gets_past_the_check(tmp_path):
    """Keys are letters, digits and a few signs; every attacked cell of a key column is a fault."""
    from analysis.records.check import check_log

    found = check_log(struck(tmp_path / "log", 3)).problems
    told = {(p.file, p.column) for p in found if "window.struck" in p.found}
    for table in TABLES:
        if (ROOT / "data_demo" / table.file).is_file():
            for column in table.columns:
                assert (table.file, column.name) in told, f"{table.file}, {column.name}"
