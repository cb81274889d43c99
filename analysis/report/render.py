"""A notebook run in a process of its own and published as one self-contained page."""

from __future__ import annotations

import ast
import contextlib
import copy
import importlib
import json
import multiprocessing
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from analysis.errors import RenderError, ReworkError
from analysis.report import kept
from analysis.report.exporting import heading_of, texts_beside, to_html
from analysis.report.parameters import Value, filled_cell, parameters_cell
from analysis.report.publishing import publish, refuse_unwritable

PROJECT = Path(__file__).resolve().parents[2]
NOTEBOOKS = PROJECT / "notebooks"
CELL_TIMEOUT_S = 1800

Say = Callable[[str], None]


def _quiet(text: str) -> None:
    """Say nothing."""


def _with_parameters(notebook: dict[str, Any], given: Mapping[str, Value]) -> dict[str, Any]:
    out = copy.deepcopy(notebook)
    cell = out["cells"][parameters_cell(out)]
    cell["source"] = filled_cell(cell["source"], given)
    return out


def _read_notebook(path: Path) -> dict[str, Any]:
    try:
        notebook = dict(json.loads(path.read_text(encoding="utf-8")))
    except OSError as error:
        raise RenderError(f"The notebook {path.name} cannot be read: {error.strerror}.") from None
    except ValueError:
        todo = "Restore it from version control."
        raise RenderError(f"{path.name} is not a notebook: its text is damaged.", todo=todo) from None
    for cell in notebook["cells"]:
        cell["source"] = "".join(cell["source"])  # JupyterLab writes a list of lines
    return notebook


@contextlib.contextmanager
def _without_address_grammar() -> Iterator[None]:
    """Import notebook tools without the grammar of internet addresses.

    jsonschema builds it when it finds it, for a check that no notebook of ours asks for; it takes longer than all else.
    """
    name = "rfc3987_syntax"
    if name in sys.modules:
        yield
        return
    sys.modules[name] = None  # type: ignore[assignment]
    try:
        yield
    finally:
        del sys.modules[name]


def import_tools() -> None:
    """Import what running and exporting a notebook takes; a process copied afterwards need not do it again."""
    with _without_address_grammar():
        for name in ("nbformat", "nbconvert.exporters.templateexporter"):
            importlib.import_module(name)


def import_what_cells_import(notebook: Path) -> None:
    """Import the modules of this package that a notebook's cells import, so that copies of this process have them."""
    for cell in _read_notebook(notebook)["cells"]:
        for node in ast.walk(ast.parse(cell["source"])) if cell["cell_type"] == "code" else ():
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("analysis."):
                __import__(str(node.module), fromlist=[alias.name for alias in node.names])


def _failure(name: str, section: str, kind: str, words: str, known: bool) -> RenderError:
    """A failed cell in the words of the error that the cell raised."""
    if known:
        return RenderError(words, where=name)
    under = f" under '{section}'" if section else ""
    found = f"a step of {name} failed{under} ({kind}: {words})"
    todo = "Run 'rework check' on the log. If it is clean this is a fault of the suite: please report it."
    return RenderError(found, todo=todo)


def _cells_run(sources: list[str], tell: Connection) -> None:
    """Run cells and tell how it goes; what a process of its own is started for."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches every process; the one that waits ends this one
    from analysis.report.cells import CellError, run_cells

    try:
        tell.send(("done", run_cells(sources, PROJECT, lambda number: tell.send(("begun", number)))))
    except BrokenPipeError:
        pass  # nobody waits any more
    except Exception as error:
        cause = error.__cause__ if isinstance(error, CellError) else error
        tell.send(("failed", (type(cause).__name__, str(cause).strip(), isinstance(cause, ReworkError))))


def can_be_copied() -> bool:
    """Whether a copy of this process can go on by itself: not where the system cannot copy, not with several threads."""
    told = "fork" in multiprocessing.get_all_start_methods() and sys.platform != "darwin"
    return told and threading.active_count() == 1


@contextlib.contextmanager
def _running(sources: list[str]) -> Iterator[Connection]:
    """A process that runs cells, ended at the latest when it is no longer listened to.

    A copy of this one has imported what this one has; where there can be none a fresh interpreter is started.
    """
    context: Any = multiprocessing.get_context("fork" if can_be_copied() else "spawn")
    ours, theirs = context.Pipe(duplex=False)
    process = context.Process(target=_cells_run, args=(sources, theirs), daemon=True)
    process.start()
    theirs.close()
    try:
        yield ours
    finally:
        process.kill()
        process.join()
        ours.close()


def _outputs(name: str, sources: list[str], begun: Callable[[int], str]) -> list[list[dict[str, Any]]]:
    """Outputs of each cell, or why there are none; ``begun`` gets the number of a cell and gives its section."""
    section = ""
    with _running(sources) as told:
        import_tools()  # meanwhile; exporting needs them
        try:
            while told.poll(CELL_TIMEOUT_S):
                what, how = told.recv()
                if what == "done":
                    return list(how)
                if what == "failed":
                    raise _failure(name, section, *how)
                section = begun(how)
        except EOFError:
            raise RenderError(f"the process that ran {name} ended suddenly", todo="Is memory short?") from None
    raise RenderError(f"a step of {name} took over {CELL_TIMEOUT_S // 60} minutes and was ended")


def execute(path: Path, given: Mapping[str, Value], say: Say = _quiet) -> Any:
    """Run a notebook and return it with its outputs; the file itself is not touched.

    Parameters
    ----------
    path : Path
        Notebook.
    given : mapping
        Parameters that differ from the defaults.
    say : callable
        Receives one line for each section as it starts.

    Raises
    ------
    RenderError
        If the notebook cannot be read, a parameter is unknown, or a cell fails.
    """
    raw = _with_parameters(_read_notebook(path), given)
    code = [at for at, cell in enumerate(raw["cells"]) if cell["cell_type"] == "code"]
    now = ""

    def begun(number: int) -> str:
        nonlocal now
        title = heading_of(raw["cells"][code[number] - 1]) if code[number] else ""
        if title and title != now:
            now = title
            say(f"  {title}")
        return now

    sources = [raw["cells"][at]["source"] for at in code]
    name = kept.name_of(sources, given)
    outputs = kept.recall(name)
    if outputs is None:
        outputs = _outputs(path.name, sources, begun)
        if name == kept.name_of(sources, given):  # else something changed meanwhile
            kept.store(name, outputs)
    else:
        say("  Taken as it was: nothing that it depends on has changed.")
    import_tools()
    import nbformat

    for at, shown in zip(code, outputs, strict=True):
        raw["cells"][at] |= {"outputs": shown, "execution_count": None}
    return nbformat.from_dict(raw)  # type: ignore[no-untyped-call]


def render(notebook: Path, given: Mapping[str, Value], target: Path, say: Say = _quiet) -> Path:
    """Run a notebook and publish its page.

    Parameters
    ----------
    notebook : Path
        Notebook to run.
    given : mapping
        Parameters.
    target : Path
        Page to write; replaced only when everything has succeeded.
    say : callable
        Receives progress, one line at a time.

    Raises
    ------
    RenderError
        If anything fails; the page that was there stays.
    """
    refuse_unwritable(target.parent)
    done = execute(notebook, given, say)
    publish(to_html(done), target, texts_beside(done))
    return target


def page_of_log(notebook: str, folder: Path, target: Path, say: Say, **given: Value) -> Path:
    """Publish the page that a notebook makes of a log.

    Parameters
    ----------
    notebook : str
        Its name in notebooks/, without the ending.
    folder : Path
        The log; what is wrong with it is better told before, since the notebook has a process of its own.
    target, say
        As for :func:`render`.
    **given
        Parameters besides the log's folder.

    Raises
    ------
    RenderError
        As for :func:`render`.
    """
    where = {"log_folder": str(Path(folder).resolve())}
    return render(NOTEBOOKS / f"{notebook}.ipynb", where | given, target, say)
