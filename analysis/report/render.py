"""A notebook run in a kernel of this very interpreter and published as one self-contained page."""

from __future__ import annotations

import contextlib
import copy
import datetime as dt
import importlib
import json
import os
import re
import sys
import tempfile
import warnings
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from analysis import __version__
from analysis.errors import RenderError
from analysis.report.parameters import Value, declared, filled_cell, parameters_cell
from analysis.report.publishing import replace_together

PROJECT = Path(__file__).resolve().parents[2]
TEMPLATES = Path(__file__).resolve().parent / "template"
CELL_TIMEOUT_S = 1800
QUIET = {"PYTHONWARNINGS": "ignore", "PYDEVD_DISABLE_FILE_VALIDATION": "1"}
# Products of small matrices, by the thousand: on a busy machine several threads wait for one another four times as long.
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1"}

Say = Callable[[str], None]


def _quiet(text: str) -> None:
    """Say nothing."""


def _with_parameters(notebook: dict[str, Any], given: Mapping[str, Value]) -> dict[str, Any]:
    out = copy.deepcopy(notebook)
    cell = out["cells"][parameters_cell(out)]
    cell["source"] = filled_cell("".join(cell["source"]), given)
    return out


def _heading(cell: Mapping[str, Any]) -> str:
    """Last heading of a markdown cell; empty when it has none."""
    found = re.findall(r"^#+\s+(.*)$", "".join(cell["source"]), re.M) if cell["cell_type"] == "markdown" else []
    return found[-1] if found else ""


def _read_notebook(path: Path) -> dict[str, Any]:
    try:
        return dict(json.loads(path.read_text(encoding="utf-8")))
    except OSError as error:
        raise RenderError(f"The notebook {path.name} cannot be read: {error.strerror}.") from None
    except ValueError:
        todo = "Restore it from version control."
        raise RenderError(f"{path.name} is not a notebook: its text is damaged.", todo=todo) from None


def _plain_error(name: str, section: str, error: Any) -> RenderError:
    """A failed cell in the words of the error that the cell raised."""
    value = re.sub(r"\x1b\[[0-9;]*m", "", str(error.evalue)).strip()
    if (error.ename.endswith("Error") and "What to do:" in value) or error.ename in _user_errors():
        return RenderError(value, where=name)
    under = f" under '{section}'" if section else ""
    found = f"a step of {name} failed{under} ({error.ename}: {value})"
    todo = "Run 'rework check' on the log. If it is clean this is a fault of the suite: please report it."
    return RenderError(found, todo=todo)


def _user_errors() -> set[str]:
    from analysis import errors

    return {name for name in vars(errors) if name.endswith("Error")}


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
        for name in ("nbformat", "nbclient", "jupyter_client.manager", "nbconvert.exporters.templateexporter"):
            importlib.import_module(name)


@contextlib.contextmanager
def _kernel_folder() -> Iterator[Path]:
    """A kernel description that starts this interpreter, whatever kernels the machine has installed."""
    with tempfile.TemporaryDirectory() as folder:
        spec = Path(folder) / "kernels" / "rework"
        spec.mkdir(parents=True)
        argv = [
            sys.executable,
            "-Xfrozen_modules=off",
            "-m",
            "ipykernel_launcher",
            "-f",
            "{connection_file}",
            "--IPKernelApp.log_level=CRITICAL",  # failures are told by us; interrupted, it would print a traceback
        ]
        description = {"argv": argv, "display_name": "rework", "language": "python", "metadata": {"debugger": False}}
        (spec / "kernel.json").write_text(json.dumps(description), encoding="utf-8")
        yield spec.parent


@contextlib.contextmanager
def _failures_told(name: str, section: Mapping[str, str]) -> Iterator[None]:
    """Turn whatever ends the run of a notebook into words for the user."""
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

    try:
        with warnings.catch_warnings():
            # Said by tornado on Windows, where the event loop lacks a call; it helps itself and nothing is amiss.
            warnings.filterwarnings("ignore", message="Proactor event loop", category=RuntimeWarning)
            yield
    except CellExecutionError as error:
        raise _plain_error(name, section["now"], error) from None
    except CellTimeoutError:
        raise RenderError(f"a step of {name} took over {CELL_TIMEOUT_S // 60} minutes and was ended") from None
    except DeadKernelError:
        raise RenderError(f"the process that ran {name} ended suddenly", todo="Is memory short?") from None
    except RuntimeError as error:
        raise RenderError(f"the process that runs {name} did not start: {error}") from None


@contextlib.contextmanager
def _interruption_told(client: Any) -> Iterator[None]:
    """Make a KeyboardInterrupt of whatever comes out of the client after Ctrl-C or a request to end."""
    try:
        yield
    except BaseException:
        if hasattr(client, "_async_cleanup_kernel_future"):  # only its signal handler leaves this behind
            raise KeyboardInterrupt from None
        raise


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
    import_tools()
    import nbformat
    from jupyter_client.kernelspec import KernelSpecManager
    from jupyter_client.manager import AsyncKernelManager
    from nbclient import NotebookClient

    notebook = nbformat.from_dict(raw)  # type: ignore[no-untyped-call]
    section = {"now": ""}

    def told(cell: Any, cell_index: int) -> None:
        title = _heading(notebook.cells[cell_index - 1]) if cell_index else ""
        if title and title != section["now"]:
            section["now"] = title
            say(f"  {title}")

    with _kernel_folder() as folder:
        manager = AsyncKernelManager(
            kernel_name="rework",
            kernel_spec_manager=KernelSpecManager(kernel_dirs=[str(folder)], ensure_native_kernel=False),
        )
        client = NotebookClient(
            notebook,
            timeout=CELL_TIMEOUT_S,
            resources={"metadata": {"path": str(PROJECT)}},
            on_cell_execute=told,
        )
        # Given after construction, so that the client counts the kernel as its own and ends it, whatever happens.
        client.km = manager
        with _failures_told(path.name, section), _interruption_told(client):
            client.execute(env=ONE_THREAD | os.environ | QUIET)
    return notebook


def prose(markdown: str) -> str:
    """Markdown of a notebook to HTML; any HTML in it is shown as text, headings get names to link to."""
    import mistune

    html = str(mistune.create_markdown(escape=True)(markdown))
    return re.sub(
        r"<h([1-6])>(.*?)</h\1>", lambda m: f'<h{m[1]} id="{slug(re.sub("<[^>]+>", "", m[2]))}">{m[2]}</h{m[1]}>', html
    )


def to_html(notebook: Any) -> str:
    """Export an executed notebook with our own template: nothing remote, code folded away."""
    from nbconvert.exporters.templateexporter import TemplateExporter
    from traitlets.config import Config

    config = Config()
    config.TemplateExporter.extra_template_basedirs = [str(TEMPLATES)]
    exporter = TemplateExporter(config=config, template_name="bench", template_file="index.html.j2")  # type: ignore[no-untyped-call]
    exporter.register_filter("prose", prose)  # type: ignore[no-untyped-call]
    notebook = _without_paths(notebook)
    meta = _page_meta(notebook) | {"css": (TEMPLATES / "bench" / "page.css").read_text(encoding="utf-8")}
    body, _ = exporter.from_notebook_node(notebook, resources={"page": meta})
    return re.sub(r"\n\s*\n+", "\n", str(body))


def _without_paths(notebook: Any) -> Any:
    """A copy whose parameters cell names folders by their last part: a page is no place for paths of a machine."""
    out = copy.deepcopy(notebook)
    cell = out["cells"][parameters_cell(out)]
    values = declared("".join(cell["source"]))
    shown = {k: Path(v).name if isinstance(v, str) and Path(v).is_absolute() else v for k, v in values.items()}
    cell["source"] = "\n".join(f"{name} = {value!r}" for name, value in shown.items())
    return out


def _page_meta(notebook: Any) -> dict[str, Any]:
    """Facts for the head of the page, left by :class:`analysis.report.page.PageHead` in one of the outputs."""
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            found = output.get("data", {}).get("application/vnd.rework.page+json")
            if found:
                made = dt.date.today().isoformat()
                return dict(found) | {"made_on": made, "version": __version__, "sections": _sections(notebook)}
    raise RenderError("The notebook shows no PageHead, so that its page would have no title.")


def _sections(notebook: Any) -> list[dict[str, str]]:
    titles = [_heading(cell) for cell in notebook.cells]
    return [{"title": title, "id": slug(title)} for title in titles if title]


def slug(title: str) -> str:
    """Name of a section within the page."""
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")


def publish(text: str, target: Path, beside: Mapping[str, str] | None = None) -> None:
    """Put a page in place in one step: either the whole new page is there, or the old one.

    Parameters
    ----------
    text : str
        The page.
    target : Path
        Where it goes.
    beside : mapping of str to str, optional
        File ending to text of files that belong to the page and change together with it.

    Raises
    ------
    RenderError
        If the folder or a file cannot be written; what was there stays.
    """
    texts = {target: text} | {target.with_suffix(ending): other for ending, other in (beside or {}).items()}
    try:
        replace_together(texts)
    except OSError as error:
        todo = "Look at the folder's permissions and free space, or choose another with --out."
        raise RenderError(f"{target} cannot be written: {error.strerror}.", todo=todo) from None


def _beside(notebook: Any) -> dict[str, str]:
    """Files that outputs of the notebook leave beside the page (see :class:`analysis.report.page.Beside`)."""
    out: dict[str, str] = {}
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            out |= output.get("data", {}).get("application/vnd.rework.beside+json", {})
    return out


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
    out = target.parent
    if out.exists() and not out.is_dir():  # told before the run, which would be for nothing
        raise RenderError(f"{out} is a file.", todo="Name a folder for the page.")
    done = execute(notebook, given, say)
    publish(to_html(done), target, _beside(done))
    return target
