"""What cells showed is kept, and never taken for what another log, another code or another day would show."""

from __future__ import annotations

import datetime as dt
import json
import multiprocessing
import os
import shutil
from pathlib import Path

import nbformat
import pytest

from analysis.records import once
from analysis.report import kept, month, render
from analysis.report.exporting import to_html
from analysis.report.kept import code_state, kept_in, name_of, pages_kept, recall, store
from analysis.report.render import execute

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
OUTPUTS = [[{"output_type": "stream", "name": "stdout", "text": "é €\n\ud800"}], []]


@pytest.fixture
def folder(tmp_path):
    return Path(shutil.copytree(DEMO, tmp_path / "log"))


CODE = code_state()


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.setattr(kept, "code_state", lambda: CODE)  # held, for somebody may be at work on the code meanwhile
    with kept_in(tmp_path / "kept"):
        yield tmp_path / "kept"


@pytest.fixture
def book(tmp_path, folder):
    """A notebook that counts how often it is run."""
    cells = [
        f'log_folder = "{folder.as_posix()}"\nother = ""',
        "from pathlib import Path\nfrom analysis.report.page import PageHead, Prose\n"
        "PageHead('Title', 'Shop', 'Today', 'abc', True)",
        f"ran = Path({str(tmp_path / 'ran')!r})\nran.write_text((ran.read_text() if ran.exists() else '') + 'x')\n"
        "Prose([str(len(Path(log_folder, 'jobs.csv').read_bytes()))])",
    ]
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(source) for source in cells])
    book.cells[0].metadata.tags = ["parameters"]
    path = tmp_path / "book.ipynb"
    nbformat.write(book, path)
    return path


def given(folder, **more):
    return {"log_folder": str(folder), **more}


def times_run(tmp_path):
    return len((tmp_path / "ran").read_text())


def test_the_second_page_is_the_first_letter_by_letter_and_no_cell_is_run(tmp_path, book, folder, place):
    said: list[str] = []
    pages = [to_html(execute(book, given(folder), said.append)) for _ in range(2)]
    assert pages[0] == pages[1]
    assert times_run(tmp_path) == 1
    assert sum("Taken as it was" in line for line in said) == 1
    with kept_in(None):
        assert to_html(execute(book, given(folder))) == pages[0]
    assert times_run(tmp_path) == 2


def test_without_a_folder_nothing_is_kept(tmp_path, book, folder):
    for _ in range(2):
        execute(book, given(folder))
    assert times_run(tmp_path) == 2
    assert recall("any.json") is None
    assert pages_kept(folder) == 0


def _one_byte(folder):
    path = folder / "jobs.csv"
    stat = path.stat()
    path.write_bytes(path.read_bytes().replace(b"liquid", b"drop  ", 1))
    os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))


@pytest.mark.parametrize(
    "change",
    [
        _one_byte,
        lambda folder: (folder / "bench.toml").write_text('shop_name = "Another"\n'),
        lambda folder: (folder / "technicians.csv").unlink(),
    ],
    ids=["a byte of a table", "settings", "a table"],
)
def test_an_altered_log_uses_nothing_of_the_old(tmp_path, book, folder, place, change):
    execute(book, given(folder))
    old = set(os.listdir(place))
    assert pages_kept(folder) == 1
    change(folder)
    assert pages_kept(folder) == 0
    execute(book, given(folder))
    assert times_run(tmp_path) == 2
    assert len(set(os.listdir(place)) - old) == 1


def test_other_parameters_and_other_files_they_name_are_other_pages(tmp_path, folder, place):
    file = tmp_path / "last.json"
    file.write_text("1")
    names = {name_of(["a"], given(folder)), name_of(["b"], given(folder)), name_of(["a"], given(folder, o=str(file)))}
    file.write_text("2")
    names.add(name_of(["a"], given(folder, o=str(file))))
    assert len(names) == 4
    assert name_of(["a"], {"month": "2024-09"}) == "", "a page of no log"


def test_another_code_or_another_version_of_what_counts_uses_nothing_of_the_old(tmp_path, folder, place, monkeypatch):
    package = tmp_path / "package"
    (package / "models").mkdir(parents=True)
    (package / "models" / "a.py").write_text("1")
    states = [code_state(package)]
    (package / "models" / "a.py").write_text("2")
    states.append(code_state(package))
    (package / "models" / "a.py").rename(package / "models" / "b.py")
    states.append(code_state(package))
    monkeypatch.setattr(kept, "version", lambda name: "9.9" if name == "numpy" else "1")
    states.append(code_state(package))
    assert len(set(states)) == 4
    (package / "__pycache__").mkdir()
    (package / "__pycache__" / "a.pyc").write_text("made by running")
    assert code_state(package) == states[-1]
    before = name_of(["a"], given(folder))
    monkeypatch.setattr(kept, "code_state", lambda: "another")
    assert name_of(["a"], given(folder)) != before


def test_the_next_day_uses_nothing_of_the_last(folder, place, monkeypatch):
    before = name_of(["a"], given(folder))

    class Tomorrow(dt.date):
        @classmethod
        def today(cls):
            return dt.date.fromordinal(dt.date.toordinal(super().today()) + 1)

    monkeypatch.setattr(once.dt, "date", Tomorrow)
    assert name_of(["a"], given(folder)) != before


def test_a_log_that_changes_while_its_page_is_made_is_not_kept(tmp_path, book, folder, place):
    raw = json.loads(book.read_text())
    raw["cells"][2]["source"] += "\nPath(log_folder, 'bench.toml').write_text('')"
    book.write_text(json.dumps(raw))
    execute(book, given(folder))
    assert not place.exists()


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: "",
        lambda text: text[:-20],
        lambda text: text.replace("stream", "strean"),
        lambda text: text.replace("form 1", "form 0"),
        lambda text: "[]\n[]",
        lambda text: "\x00" * 100,
    ],
    ids=["empty", "cut off", "altered", "other form", "of another file", "zeros"],
)
def test_a_damaged_file_is_not_used_and_replaced(place, damage):
    store("a.json", OUTPUTS)
    assert recall("a.json") == OUTPUTS
    path = place / "a.json"
    path.write_text(damage(path.read_text()))
    assert recall("a.json") is None
    store("a.json", OUTPUTS)
    assert recall("a.json") == OUTPUTS


def test_a_file_renamed_to_another_pages_name_is_not_used(place):
    store("a.json", OUTPUTS)
    (place / "a.json").rename(place / "b.json")
    assert recall("b.json") is None


def test_what_cannot_be_written_or_is_deleted_midway_does_no_harm(tmp_path, book, folder, place, monkeypatch):
    (tmp_path / "kept").write_text("a file where the folder should be")
    execute(book, given(folder))
    (tmp_path / "kept").unlink()
    monkeypatch.setattr(render.kept, "recall", lambda name: shutil.rmtree(place, ignore_errors=True))
    for _ in range(2):
        execute(book, given(folder))
    assert times_run(tmp_path) == 3


def test_only_the_latest_are_kept(place, monkeypatch):
    monkeypatch.setattr(kept, "MOST_KEPT", 3)
    for number in range(5):
        store(f"{number}.json", OUTPUTS)
        os.utime(place / f"{number}.json", (number, number))
        if number == 2:
            assert recall("0.json") == OUTPUTS  # used again: kept longer
    assert sorted(os.listdir(place)) == ["0.json", "3.json", "4.json"]


def _both(name):
    for _ in range(50):
        store(name, OUTPUTS)
        found = recall(name)
        if found not in (OUTPUTS, None):
            raise SystemExit(1)


@pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="no copies of a process here")
def test_several_may_keep_and_recall_at_once(place):
    context = multiprocessing.get_context("fork")
    running = [context.Process(target=_both, args=("a.json",)) for _ in range(3)]
    for process in running:
        process.start()
    for process in running:
        process.join(60)
    assert [process.exitcode for process in running] == [0, 0, 0]
    assert os.listdir(place) == ["a.json"]


def test_a_month_made_again_is_the_same_and_takes_every_page_as_it_was(tmp_path, folder, monkeypatch, capfd):
    """With the page that takes no simulation."""
    monkeypatch.setattr(kept, "code_state", lambda: CODE)
    monkeypatch.setattr(month, "can_be_copied", lambda: False)
    monkeypatch.setattr(month, "PAGES", {"log check": month.PAGES["log check"]})
    pages = []
    for out in ("one", "two"):
        made = month.publish_month(folder, "", tmp_path / out, print, tmp_path / "kept")
        pages.append([path.read_bytes() for path in made])
    assert pages[0] == pages[1]
    assert capfd.readouterr().out.count("Taken as it was") == 1
