"""In print the foot of a page never stands alone on a sheet of its own."""

from __future__ import annotations

import shutil
import subprocess

import pytest

from analysis.report.page import Caution, PageHead, Prose
from analysis.report.plain_page import page_html


@pytest.mark.browser
@pytest.mark.skipif(not shutil.which("pdftotext"), reason="pdftotext (Poppler) is not there to read the last sheet")
def test_the_foot_stays_with_the_cautions(tmp_path, running_browser):
    """What stands above grows by four pixels a step, and somewhere the foot alone is too much.

    The code of a page, not printed, lies between the two, as it does on every page made by a notebook.
    """
    head, file = PageHead("Sheet", "Bench", "650 jobs", "", True), tmp_path / "sheet.pdf"
    html = page_html(head, [Prose(["12 of 18 booted."]), Caution(["Disconnect batteries before heat."])])
    html = html.replace(
        "</main>", '<details class="code"><summary>The code that made this page</summary></details></main>'
    )
    page = running_browser.new_page()
    sheets = set()
    for height in range(1760, 1840, 4):
        page.set_content(html.replace("<p>12 of", f'<p style="height: {height}px">12 of'))
        page.pdf(path=file, format="A4")
        told = subprocess.run(["pdftotext", file, "-"], capture_output=True, text=True, check=True).stdout
        texts = told.rstrip("\f").split("\f")
        sheets.add(len(texts))
        assert ("Disconnect" in texts[-1]) == ("prevail over" in texts[-1]), height
    page.close()
    assert sheets == {2, 3}
