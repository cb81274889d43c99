"""A sealed demo with its sheet, made once."""

from __future__ import annotations

import pytest

from tests.evidence import sealed as made


@pytest.fixture(scope="session")
def demo_log(tmp_path_factory):
    """A sealed copy of the demo."""
    folder = made.demo_copy(tmp_path_factory.mktemp("evidence") / "log")
    made.sealed(folder)
    return folder


@pytest.fixture(scope="session")
def demo_sheet(demo_log, tmp_path_factory):
    """The sheet of 2024H1 in English with its recount file."""
    out = tmp_path_factory.mktemp("sheets")
    return made.sheet(demo_log, out, recount_file=out / "recount.csv")
