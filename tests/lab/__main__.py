"""Pictures of notebooks as JupyterLab shows them on the demo: ``python -m tests.lab FOLDER [NAME.ipynb ...]``."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.lab.opened import WINDOW, Opened, opened
from tests.lab.server import PROJECT, lay_out, running
from tests.report.browser import browser

TALLEST = 16_000  # pixels; a browser draws no taller picture


def picture(notebook: Opened, out: Path) -> Path:
    """Run a notebook and draw all of it, or as much as a picture can hold."""
    notebook.run_all()
    for _ in range(2):  # what is drawn only now has its height only then
        tall = notebook.page.evaluate("() => document.querySelector('.jp-WindowedPanel-inner').offsetHeight")
        notebook.page.set_viewport_size(WINDOW | {"height": min(TALLEST, tall + 200)})
        notebook.page.wait_for_timeout(1000)
    notebook.page.evaluate("() => document.querySelector('.jp-WindowedPanel-outer').scrollTo(0, 0)")
    notebook.page.wait_for_timeout(500)
    path = out / f"{Path(notebook.name).stem}.png"
    notebook.page.screenshot(path=path)
    return path


def main(out: Path, names: list[str]) -> None:
    """Take them one after the other."""
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, browser() as started:
        root = lay_out(Path(folder) / "root", PROJECT / "data_demo")
        with running(root, Path(folder) / "own") as server:
            for name in names or sorted(path.name for path in (root / "notebooks").glob("*.ipynb")):
                with started.new_context(viewport=WINDOW) as window, opened(window, server, name) as notebook:
                    print(picture(notebook, out), *notebook.amiss, flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
