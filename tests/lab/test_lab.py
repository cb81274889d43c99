"""Every notebook runs clean in JupyterLab itself: opened, kernel restarted, all cells run, as a user does it."""

from __future__ import annotations

import re

import pytest
from bs4 import BeautifulSoup
from playwright.sync_api import expect

from tests.lab.opened import OPENS_WITHIN, opened
from tests.lab.server import PROJECT

pytestmark = pytest.mark.browser
NOTEBOOKS = sorted((PROJECT / "notebooks").glob("*.ipynb"))
WIDGET, HEAD = "application/vnd.jupyter.widget-view+json", "application/vnd.rework.page+json"
by_name = pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)


# Has the look of the pages only by the style that a page's head brings along; and what needs a sideways scroll.
UNSTYLED = (
    "() => [...document.querySelectorAll('.first .label')].filter(e => getComputedStyle(e).display !== 'block').length"
)
TOO_WIDE = """() => [...document.querySelectorAll('.jp-OutputArea-output, .jp-OutputArea-output .wide')]
  .filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.textContent.slice(0, 80))"""


def outputs_of(notebook):
    return [output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs]


def title_of(notebook):
    """The title a notebook shows: that of its page, or its first heading."""
    heads = [output.data[HEAD]["title"] for output in outputs_of(notebook) if HEAD in output.get("data", {})]
    return (
        heads
        + re.findall(
            r"^# (.*)", "\n".join(cell.source for cell in notebook.cells if cell.cell_type == "markdown"), re.M
        )
    )[0]


def field(page, title):
    """The input under a title, in a form."""
    return page.locator(f".widget-vbox:has(> .widget-html label:text-is('{title}'))").locator("select, input")


def enter_a_job(page):
    """A fault stands beside its field; then it can be written."""
    field(page, "damage at intake (needed)").select_option("drop")
    page.get_by_role("button", name="check", exact=True).click()
    expect(page.get_by_text("Not yet: see")).to_be_visible(timeout=OPENS_WITHIN)
    expect(page.get_by_role("alert").filter(has_text=re.compile("^✗"))).to_have_count(1)
    field(page, "decision (needed)").select_option("withdrawn")
    page.get_by_role("button", name="check", exact=True).click()
    expect(page.get_by_text("This can be written.")).to_be_visible(timeout=OPENS_WITHIN)
    expect(page.get_by_role("button", name="write", exact=True)).to_be_disabled()  # invented data


def assess_an_intake(page):
    """An intake of the counter is answered for below the button."""
    field(page, "damage at intake (needed)").select_option("drop")
    for title, text in (("fee, EUR", "650"), ("donor cost, EUR", "120")):
        field(page, title).fill(text)
    field(page, "fee basis").select_option("no_result_no_fee")
    page.get_by_role("button", name="assess", exact=True).click()
    expect(page.locator("pre[role=status]")).to_contain_text("past jobs resemble it", timeout=OPENS_WITHIN)


FORMS = {"enter_job": enter_a_job, "accept_or_decline": assess_an_intake}


def assert_runs_clean(window, lab, path):
    """Open, restart and run all: nothing fails, all is shown, nobody outside is asked, the stored file is untouched."""
    stored = path.read_bytes()
    with opened(window, lab, path.name) as seen:
        seen.run_all()
        done = seen.saved()
        code = [cell for cell in done.cells if cell.cell_type == "code"]
        failed = [output.evalue for output in outputs_of(done) if output.output_type == "error"]
        assert not failed
        assert [cell.execution_count for cell in code] == list(range(1, len(code) + 1))
        assert not [output.text for output in outputs_of(done) if output.output_type == "stream"]
        assert_shown(seen.page, done, path.stem)
        FORMS.get(path.stem, lambda page: None)(seen.page)
        assert not seen.amiss
        assert seen.asked
        assert not seen.elsewhere
    assert not lab.went_outside()
    assert path.read_bytes() == stored


def assert_shown(page, done, name):
    """What is on the screen: the title, every figure, every table in full width, every form as a form."""
    heading = page.get_by_role("heading", name=title_of(done)).first
    heading.scroll_into_view_if_needed()
    assert heading.is_visible()
    html = BeautifulSoup(
        "".join(output.get("data", {}).get("text/html", "") for output in outputs_of(done)), "html5lib"
    )
    drawn = page.evaluate(
        "() => [...document.querySelectorAll('.jp-OutputArea img')].filter(i => i.naturalWidth).length"
    )
    assert drawn == len(html.find_all("img"))
    assert page.evaluate(UNSTYLED) == 0
    assert page.evaluate(TOO_WIDE) == []
    widgets = [output for output in outputs_of(done) if WIDGET in output.get("data", {})]
    assert bool(widgets) == (name in FORMS)
    assert page.locator(".jp-OutputArea-output > .jupyter-widgets").count() == len(widgets)


@by_name
def test_a_notebook_runs_clean_in_jupyterlab(window, small_lab, path):
    assert_runs_clean(window, small_lab, path)


@pytest.mark.slow
@by_name
def test_a_notebook_runs_clean_in_jupyterlab_on_the_demo(window, demo_lab, path):
    assert_runs_clean(window, demo_lab, path)


def test_run_twice_it_shows_the_same(window, small_lab):
    with opened(window, small_lab, "log_check.ipynb") as seen:
        seen.run_all()
        once = outputs_of(seen.saved())
        seen.run_all()
        assert outputs_of(seen.saved()) == once
    assert once


def test_a_mistyped_parameter_is_told_without_a_traceback(window, small_lab):
    with opened(window, small_lab, "log_check.ipynb") as seen:
        seen.type_into_first_cell('log_folder = "no_such_log"')
        seen.run_all()
        (told,) = [output for output in outputs_of(seen.saved()) if output.output_type == "error"]
        shown = seen.page.locator(".jp-OutputArea-output").last
        assert "What to do:" in shown.inner_text()
        assert "no_such_log" in shown.inner_text()
        assert "Traceback" not in shown.inner_text()
        assert "\n".join(told.traceback) == told.evalue
