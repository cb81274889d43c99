"""Every command that takes a log, and every notebook, on logs with little to show.

Each answers: a page or a text without holes that says what cannot be said yet and what it takes, or a refusal that says
what to do. Commands and notebooks that come later are met here by themselves.
"""

from __future__ import annotations

import argparse
import html
import re
import shutil

import pytest

from analysis import cli, cli_counter
from analysis.errors import ReworkError
from analysis.report import page, render
from tests.report import notebook_cells
from tests.report.small_logs import CASES, write_case

# What a command needs besides the log; the others get the log and a folder for their page.
NEEDED = {
    "seal": ["--until", "2024-10-02"],
    "assess": ["--intake-damage", "drop", "--fee-basis", "flat", "--fee-amount", "700", "--donor-cost", "150"],
    "enter": [
        *("--job", "next", "--set", "jobs.received_date=2024-10-02"),
        *("--set", "jobs.intake_damage=drop", "--set", "jobs.decision=withdrawn"),
    ],
}
# Further ways of a command.
ALSO = [("check", "--page"), ("counter", "--technician"), ("compare", "--technician"), ("assess", "--json")]
FAST = ("0 jobs", "1 jobs", "5 jobs", "20 jobs", "only what is asked")
# Every page of a month is made by a command of its own on each log too; together they are made of the least of logs.
MONTH = ("month",)
MONTH_FAST = ("0 jobs", "only what is asked")
ALWAYS = ("check", "check --page", "enter")  # these have an answer for any log
IT_TAKES = re.compile(r"it takes|takes at least|are needed|[Tt]oo few|\byet\b|needs \d|at least \d|was never seen")
HOLES = re.compile(r"(?<![A-Za-z])(nan|NaN|None|<NA>|NaT|inf)(?![A-Za-z])")


def commands() -> list[tuple[str, ...]]:
    """Every command whose first argument is a log, and the further ways."""
    action = next(a for a in cli._parser()._actions if isinstance(a, argparse._SubParsersAction))
    with_log = [
        (name,)
        for name, sub in action.choices.items()
        if next((a.dest for a in sub._actions if not a.option_strings), "") == "log"
    ]
    return with_log + [way for way in ALSO if (way[0],) in with_log]


def grid(things: list[tuple[str, object]], slow: tuple[object, ...] = ()) -> list:
    """All cases for all of them; slow are the logs of 60 jobs, where models are fitted, and what is named so."""

    def marks(case: str, thing: object) -> tuple:
        fast = MONTH_FAST if thing == MONTH else FAST
        return (pytest.mark.slow,) if case not in fast or thing in slow else ()

    return [
        pytest.param(case, thing, id=f"{case}-{name}", marks=marks(case, thing))
        for case in CASES
        for name, thing in things
    ]


@pytest.fixture(scope="session")
def written(tmp_path_factory):
    """Folder of a case, written once."""
    folder = tmp_path_factory.mktemp("small")

    def of(case: str):
        log = folder / case.replace(" ", "_")
        return log if log.exists() else write_case(case, log)

    return of


@pytest.fixture
def log(written, tmp_path, request):
    """A copy of its own of the case's log."""
    return shutil.copytree(written(request.getfixturevalue("case")), tmp_path / "log")


@pytest.fixture(autouse=True)
def in_this_process(monkeypatch, tmp_path):
    """No kernel, no drawing; what a picture says is kept."""
    monkeypatch.setattr(render, "execute", notebook_cells.execute)
    monkeypatch.setattr(cli_counter, "MODELS", tmp_path / "models")
    told = "<img alt='{0.alt}'><figcaption>{0.caption} {0.n}</figcaption>"
    monkeypatch.setattr(page.Picture, "_repr_html_", lambda self: told.format(self))


def words(text: str) -> str:
    """The text of a page."""
    bare = re.sub(r"<(style|script)\b.*?</\1>|<[^>]+>", " ", text, flags=re.DOTALL)
    return html.unescape(re.sub(r"\s+", " ", bare))


def assert_whole(text: str) -> None:
    hole = HOLES.search(text)
    assert hole is None, text[max(0, hole.start() - 100) : hole.end() + 100]
    assert "Traceback" not in text


@pytest.mark.parametrize(("case", "command"), grid([(" ".join(way), way) for way in commands()]))
def test_every_command_answers(case, command, log, tmp_path, capsys):
    name, *way = command
    out = tmp_path / "out"
    extra = {"--page": [str(out)], "--technician": ["T1"]}.get(way[0], []) if way else []
    sub = next(a for a in cli._parser()._actions if isinstance(a, argparse._SubParsersAction)).choices[name]
    pages = ["--out", str(out)] if any("--out" in action.option_strings for action in sub._actions) else []
    before = {path.name: path.read_bytes() for path in log.glob("*.csv")}
    status = cli.main([name, str(log), *NEEDED.get(name, []), *way, *extra, *pages])
    said = capsys.readouterr()
    text = f"{said.out}\n{said.err}"
    assert status == 0 or (status == 2 and " ".join(command) not in ALWAYS), text
    made = [words(path.read_text(encoding="utf-8")) for path in out.glob("*.html")] if out.exists() else []
    for each in (text, *made):
        assert_whole(each)
    if status == 2:
        assert said.err.startswith("rework: ")
        assert "What to do:" in said.err
        assert not made
    elif (pages or name == "assess") and case in ("0 jobs", "1 jobs", "5 jobs"):
        assert IT_TAKES.search(" ".join([said.out, *made]))
    if name not in ("enter",):
        assert {path.name: path.read_bytes() for path in log.glob("*.csv")} == before


NOTEBOOKS = [path for path in sorted(notebook_cells.FOLDER.glob("*.ipynb")) if "log_folder" in path.read_text("utf-8")]


SOURCES = "".join(path.read_text("utf-8") for path in (notebook_cells.FOLDER.parent / "analysis").rglob("*.py"))
BY_COMMAND = tuple(path for path in NOTEBOOKS if f'"{path.name}"' in SOURCES)  # run by the other test already


@pytest.mark.parametrize(("case", "notebook"), grid([(path.stem, path) for path in NOTEBOOKS], BY_COMMAND))
def test_every_notebook_answers(case, notebook, log):
    given = {"log_folder": str(log)}
    if "\\ntechnician = " in notebook.read_text(encoding="utf-8"):
        given["technician"] = "T1"
    try:
        text, todo = words(notebook_cells.html_of(notebook_cells.execute(notebook, given))), "none"
    except ReworkError as error:
        text, todo = str(error), error.todo
    assert len(text) > 40
    assert todo
    assert_whole(text)


def test_the_cases_are_clean_logs(written, capsys):
    """What the grid shows is due to little data, never to faults."""
    for case in CASES:
        assert cli.main(["check", str(written(case))]) == 0, case
    capsys.readouterr()


def test_a_sheet_of_sixty_jobs_recounts(written, tmp_path, capsys):
    log = shutil.copytree(written("60 jobs"), tmp_path / "log")
    assert cli.main(["seal", str(log), *NEEDED["seal"]]) == 0
    assert cli.main(["evidence", str(log), "--out", str(tmp_path)]) == 0
    assert cli.main(["recount", str(next(tmp_path.glob("*.html"))), str(log)]) == 0
    assert "Matches: " in capsys.readouterr().out
