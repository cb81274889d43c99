"""DEVELOPERS.md is true of the tree: every path, module and name it gives is there, and every folder is in it."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
# What the worked tasks add lives in their blocks; words of commands and of the shell are no paths.
PROSE = re.sub(r"^```\w*\n.*?^```$", "", TEXT.split("\n## To add a report language")[0], flags=re.M | re.S)
PROSE += TEXT.split("\n## To add a model\n")[1]
QUOTED = sorted(set(re.findall(r"`([^`\n]+)`", PROSE)))
ENDINGS = ("py", "toml", "md", "ipynb", "csv", "R", "html")
MADE_LATER = re.compile(
    r"reports/|\.previous|YYYY|table>|PAGE|my_log|NAME|(review|words)\.html|import\.toml|presets\.toml"
)
PLACES = [ROOT / top for top in ("analysis", "tests", "notebooks", "data_demo")]
FOLDERS = sorted(
    str(path.relative_to(ROOT))
    for top in ("analysis", "tests")
    for path in (ROOT / top).iterdir()
    if path.is_dir() and any(path.glob("*.py"))
)


def paths() -> list[str]:
    """What looks like a path: a folder, or a file by its ending; ``*`` stands for any letters."""
    found = {word for quoted in QUOTED for word in quoted.split()}
    named = (word for word in found if re.fullmatch(rf"[\w.*-]*[\w*-](/|(/[\w.*-]+)*\.({'|'.join(ENDINGS)}))", word))
    return sorted(word for word in named if not MADE_LATER.search(word))


def modules() -> list[str]:
    return sorted(set(re.findall(r"python -m ((?:tests|analysis)[\w.]*)", TEXT)) - {"tests.studies.NAME"})


def test_there_are_paths_and_modules_to_look_for():
    assert len(paths()) > 60
    assert len(modules()) > 10


@pytest.mark.parametrize("path", paths())
def test_a_path_is_there(path):
    """From the top, from the package, or a file's bare name as a table or a sentence about its folder gives it."""
    here = any(any(place.glob(path)) for place in (ROOT, ROOT / "analysis"))
    beside = "/" not in path.rstrip("/") and any(any(place.rglob(path)) for place in PLACES)
    assert here or beside, f"DEVELOPERS.md names {path}, which is not there"


@pytest.mark.parametrize("module", modules())
def test_a_module_that_is_to_be_run_is_there(module):
    assert importlib.util.find_spec(module) is not None


@pytest.mark.parametrize("folder", FOLDERS)
def test_every_folder_is_in_the_picture(folder):
    top, name = folder.split("/")
    mirrored = top == "tests" and (ROOT / "analysis" / name).is_dir()
    named = any(f"`{each}/`" in TEXT for each in (folder, name))
    assert mirrored or named, f"say in the table of folders in DEVELOPERS.md what {folder}/ is for"
