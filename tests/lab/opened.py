"""A notebook opened in JupyterLab: what a user does with the menus, and what then is on the screen and on disk."""

from __future__ import annotations

import re
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
STATE = """() => {
  const panel = window.jupyterapp && window.jupyterapp.shell.currentWidget;
  if (!panel || !panel.content || !panel.content.model || !panel.sessionContext.session) return null;
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

    def watch(self) -> None:
        """Note errors of the browser's console, and every address that is asked."""
        self.page.on("console", lambda told: self._note(told.text) if told.type == "error" else None)
        self.page.on("pageerror", lambda error: self._note(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))

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
        return dict(self.page.evaluate(STATE))

    def wait_until(self, condition: str, within: int = RUNS_WITHIN) -> None:
        """Wait until a condition on ``now``, the state, holds."""
        self.page.wait_for_function(
            f"() => {{ const now = ({STATE})(); return now && ({condition}); }}", timeout=within
        )

    def open(self) -> None:
        """Open it and wait for its kernel."""
        self.page.goto(self.server.address_of(self.name), timeout=OPENS_WITHIN)
        self.wait_until("now.cells > 0 && now.kernel === 'idle'", OPENS_WITHIN)

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
    """A notebook opened in a tab of its own; its kernel ends with it.

    Parameters
    ----------
    window : playwright BrowserContext
        Tabs of one window load JupyterLab's own files once.
    server : LabServer
    name : str
        File name in ``notebooks/``.
    """
    page = window.new_page()
    try:
        notebook = Opened(page, server, name)
        notebook.watch()
        notebook.open()
        yield notebook
    finally:
        page.close()
        server.end_kernels()
