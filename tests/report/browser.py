"""A headless Chromium for the tests and for looking at pages."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def chromium() -> str | None:
    """Path of a Chromium on this machine, or None."""
    return os.environ.get("CHROMIUM") or next((path for name in NAMES if (path := shutil.which(name))), None)


@contextmanager
def browser() -> Iterator[Any]:
    """A running browser."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
        try:
            yield started
        finally:
            started.close()


def take_pictures(page_file: Path, out: Path) -> list[Path]:
    """Pictures of a page: wide, phone, and printed on A4 (PDF)."""
    out.mkdir(parents=True, exist_ok=True)
    made = []
    with browser() as running:
        for name, width in (("wide", 1280), ("phone", 360)):
            page = running.new_page(viewport={"width": width, "height": 900})
            page.goto(page_file.resolve().as_uri())
            made.append(out / f"{page_file.stem}-{name}.png")
            page.screenshot(path=made[-1], full_page=True)
        made.append(out / f"{page_file.stem}-print.pdf")
        page.pdf(path=made[-1], format="A4", print_background=True)
    return made


if __name__ == "__main__":
    for picture in take_pictures(Path(sys.argv[1]), Path(sys.argv[2])):
        print(picture)
