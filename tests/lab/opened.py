"""A notebook opened in JupyterLab: what a user does with the menus, and what then is on the screen and on disk."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

import nbformat

from tests.lab.server import LabServer

WINDOW = {"width": 1400, "height": 900}
OPENS_WITHIN, RUNS_WITHIN = 180_000, 300_000  # milliseconds; far more than needed, for machines that others use too
# Reads only; every action goes through the menus. An open notebook may be on its way still.
STATE = """name => {
  const panel = window.jupyterapp && window.jupyterapp.shell.currentWidget;
  if (!panel || !panel.context || panel.context.path !== 'notebooks/' + name) return null;
  if (!panel.content.model || !panel.sessionContext.session) return null;
  const code = [...panel.content.model.cells].filter(cell => cell.type === 'code');
  return {
    cells: code.length,
    counts: code.map(cell => cell.executionCount),
    failed: code.filter(cell => cell.outputs.toJSON().some(output => output.output_type === 'error')).length,
    kernel: panel.sessionContext.session.kernel ? panel.sessionContext.session.kernel.status : '',
    dirty: panel.content.model.dirty,
  };
}"""

# JupyterLab's own words where a kernel restarts while its debugger is still being asked.
OF_THE_DEBUGGER = "Could not restore the debugger state"


@dataclass
class Opened:
    """A notebook in the browser.

    Parameters
    ----------
    page : playwright Page
    server : LabServer
    name : str
        File name of the notebook.
    """

    page: Any
    server: LabServer
    name: str
    amiss: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    @contextmanager
    def watched(self) -> Iterator[None]:
        """Note errors of the browser's console, and every address that is asked, meanwhile."""
        noting = {
            "console": lambda told: self._note(told.text) if told.type == "error" else None,
            "pageerror": lambda error: self._note(str(error)),
            "request": lambda request: self.asked.append(request.url),
        }
        for event, note in noting.items():
            self.page.on(event, note)
        yield
        for event, note in noting.items():
            self.page.remove_listener(event, note)

    def _note(self, said: str) -> None:
        if OF_THE_DEBUGGER not in said:
            self.amiss.append(said)

    @property
    def elsewhere(self) -> list[str]:
        """Addresses asked that are not this server's."""
        hosts = [(url, urlsplit(url)) for url in self.asked]
        return [url for url, parts in hosts if parts.scheme not in ("data", "blob") and parts.hostname != "127.0.0.1"]

    def state(self) -> dict[str, Any]:
        """What the notebook's cells and kernel are at."""
        return dict(self.page.evaluate(STATE, self.name))

    def wait_until(self, condition: str, within: int = RUNS_WITHIN) -> None:
        """Wait until a condition on ``now``, the state, holds."""
        self.page.wait_for_function(
            f"name => {{ const now = ({STATE})(name); return now && ({condition}); }}", arg=self.name, timeout=within
        )

    def open(self) -> None:
        """Open it in JupyterLab, which is loaded first where it is not yet, and wait for its kernel."""
        if not self.page.url.startswith(self.server.url):
            self.page.goto(self.server.address, timeout=OPENS_WITHIN)
            self.page.wait_for_function("() => window.jupyterapp", timeout=OPENS_WITHIN)
            self.page.evaluate("() => window.jupyterapp.restored.then(() => null)")
        self.choose("File", "^Open from Path")
        self.page.get_by_role("dialog").get_by_role("textbox").fill(f"notebooks/{self.name}")
        self.page.get_by_role("dialog").get_by_role("button", name="Open", exact=True).click()
        self.wait_until("now.cells > 0 && now.kernel === 'idle'", OPENS_WITHIN)

    def close(self) -> None:
        """Close it with its kernel; saved first, for what a form changed would be asked about."""
        if self.state()["dirty"]:
            self.saved()
        self.choose("File", "^Close and Shut Down Notebook")
        self.page.get_by_role("dialog").get_by_role("button", name="Ok", exact=True).click()
        self.page.wait_for_function(f"name => ({STATE})(name) === null", arg=self.name, timeout=OPENS_WITHIN)
        until = time.monotonic() + OPENS_WITHIN / 1000
        while self.server.ask("sessions") and time.monotonic() < until:
            self.page.wait_for_timeout(50)
        assert not self.server.ask("sessions"), "a closed notebook's kernel still runs"

    def choose(self, menu: str, item: str) -> None:
        """Choose from a menu of the bar at the top."""
        self.page.get_by_role("menubar").get_by_role("menuitem", name=menu, exact=True).click()
        self.page.get_by_role("menu").get_by_role("menuitem", name=re.compile(item)).click()

    def type_into_first_cell(self, text: str) -> None:
        """Write other parameters."""
        self.page.locator(".jp-CodeCell .cm-content").first.click()
        self.page.keyboard.press("ControlOrMeta+a")
        self.page.keyboard.insert_text(text)

    def run_all(self) -> None:
        """Clear what is shown, then restart the kernel and run all cells; wait until it has come to rest."""
        self.choose("Edit", "^Clear Outputs of All Cells")
        self.wait_until("now.counts.every(n => n === null)")
        self.choose("Run", "^Restart Kernel and Run All Cells")
        self.page.get_by_role("dialog").get_by_role("button", name="Confirm Kernel Restart").click()
        self.wait_until("now.kernel === 'idle' && (now.failed || now.counts.every(n => n !== null))")

    def saved(self) -> Any:
        """Save it from the menu; what then is on disk."""
        self.choose("File", "^Save Notebook(?! As)")
        self.wait_until("!now.dirty", OPENS_WITHIN)
        return nbformat.read(self.server.root / "notebooks" / self.name, as_version=4)


@contextmanager
def opened(window: Any, server: LabServer, name: str) -> Iterator[Opened]:
    """A notebook opened in JupyterLab; its kernel ends with it.

    Parameters
    ----------
    window : playwright BrowserContext
        One tab of it holds the server's JupyterLab, loaded by the first notebook: that takes as long as two small
        notebooks. A test that fails takes the tab with it.
    server : LabServer
    name : str
        File name in ``notebooks/``.
    """
    page = next((tab for tab in window.pages if tab.url.startswith(server.url)), None) or window.new_page()
    notebook = Opened(page, server, name)
    try:
        with notebook.watched():
            notebook.open()
            yield notebook
            notebook.close()
    except BaseException:
        page.close()
        server.end_kernels()
        raise
