"""A headless Chromium for the tests and for looking at pages (``pictures.py``)."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
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
