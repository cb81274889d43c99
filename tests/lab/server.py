"""A JupyterLab of the tests' own: a copy of the notebooks, settings of its own, no way out, stopped for certain."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).resolve().parents[2]
WATCHED = Path(__file__).with_name("watched")
STARTS_WITHIN, ENDS_WITHIN = 180, 30  # seconds; far more than needed, for machines that others use too
# As a user starts it, without a browser and without what would ask the network: news, updates, the list of extensions.
# Were the tests themselves killed, kernels and server end by themselves.
OPTIONS = [
    *("--no-browser", "--allow-root", "--expose-app-in-browser"),
    *(
        "--ServerApp.ip=127.0.0.1",
        "--ServerApp.port=0",
        "--LabApp.news_url=None",
        "--LabApp.extension_manager=readonly",
    ),
    "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    *("--MappingKernelManager.cull_idle_timeout=600", "--MappingKernelManager.cull_interval=60"),
    "--ServerApp.shutdown_no_activity_timeout=900",
    "--LanguageServerManager.autodetect=False",  # it would run npm, which writes into the person's home
]
NO_NEWS = {"@jupyterlab/apputils-extension:announcements": True}


@dataclass(frozen=True)
class LabServer:
    """A running JupyterLab.

    Parameters
    ----------
    url : str
        Its address, with a slash at the end.
    token : str
        What opens it.
    root : Path
        The folder it shows: ``notebooks/`` and ``data_demo/``, as in the project.
    processes : Path
        Folder in which its processes are named, see ``watched/sitecustomize.py``.
    """

    url: str
    token: str
    root: Path
    processes: Path

    def ask(self, what: str, method: str = "GET") -> Any:
        """Ask the server's own interface; what it answers."""
        asked = urllib.request.Request(self.url + "api/" + what, method=method)
        asked.add_header("Authorization", f"token {self.token}")
        with urllib.request.urlopen(asked, timeout=STARTS_WITHIN) as answer:
            text = answer.read()
        return json.loads(text) if text else None

    @property
    def address(self) -> str:
        """Where a browser finds it."""
        return f"{self.url}lab?token={self.token}"

    def end_kernels(self) -> None:
        """End every session that is open."""
        for session in self.ask("sessions"):
            self.ask(f"sessions/{session['id']}", "DELETE")

    def went_outside(self) -> str:
        """What the server or a kernel asked of another machine; empty: nothing."""
        noted = self.processes / "outside"
        return noted.read_text(encoding="utf-8") if noted.exists() else ""


def lay_out(root: Path, log: Path) -> Path:
    """Copy the notebooks, and a log to the place where they look for theirs."""
    shutil.copytree(PROJECT / "notebooks", root / "notebooks", ignore=shutil.ignore_patterns(".ipynb_checkpoints"))
    shutil.copytree(log, root / "data_demo")
    (root / "reports").mkdir()
    return root


def settings_in(folder: Path) -> dict[str, str]:
    """Environment in which nothing of the person's own set-up is read or written."""
    own = {name: value for name, value in os.environ.items() if not name.startswith(("JUPYTER", "IPYTHON"))}
    for name in ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR"):
        own[name] = str(folder / name.lower())
    own["REWORK_LAB_PROCESSES"] = str(folder / "processes")
    own["PYTHONPATH"] = os.pathsep.join(filter(None, [str(WATCHED), os.environ.get("PYTHONPATH", "")]))
    return own


@contextlib.contextmanager
def running(root: Path, own: Path) -> Iterator[LabServer]:
    """A JupyterLab that shows a folder.

    Parameters
    ----------
    root : Path
        What it shows; see :func:`lay_out`.
    own : Path
        An empty folder for its settings, its list of processes and what it says.

    Raises
    ------
    AssertionError
        If it does not start, or leaves a process behind that had to be ended.
    """
    processes, token = own / "processes", secrets.token_hex(16)
    processes.mkdir(parents=True)
    asks_about_news = own / "jupyter_config_dir" / "labconfig" / "page_config.json"
    asks_about_news.parent.mkdir(parents=True)
    asks_about_news.write_text(json.dumps({"disabledExtensions": NO_NEWS}), encoding="utf-8")
    jupyter = shutil.which("jupyter", path=str(Path(sys.executable).parent))
    assert jupyter, "JupyterLab is not installed beside this Python"
    with (own / "said.txt").open("w", encoding="utf-8") as said:
        started = subprocess.Popen(
            [jupyter, "lab", *OPTIONS, f"--IdentityProvider.token={token}", f"--ServerApp.root_dir={root}"],
            cwd=root,
            env=settings_in(own),
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=subprocess.STDOUT,
        )
        try:
            server = LabServer(_address(started, own), token, root, processes)
            try:
                yield server
            finally:
                _ask_to_end(server, started)
        finally:
            left = _end(started, processes)
    assert not left, f"processes that JupyterLab left behind: {left}"


def _address(started: subprocess.Popen[bytes], own: Path) -> str:
    """Where it answers; it says so in its runtime folder, shortly before it listens there."""
    until = time.monotonic() + STARTS_WITHIN
    while time.monotonic() < until and started.poll() is None:
        for path in (own / "jupyter_runtime_dir").glob("jpserver-*.json"):
            with contextlib.suppress(json.JSONDecodeError, OSError):  # still being written; not yet listening
                told = json.loads(path.read_text(encoding="utf-8"))
                with socket.create_connection(("127.0.0.1", told["port"])):
                    return str(told["url"])
        time.sleep(0.1)
    raise AssertionError("JupyterLab did not start:\n" + (own / "said.txt").read_text(encoding="utf-8"))


def _ask_to_end(server: LabServer, started: subprocess.Popen[bytes]) -> None:
    """End kernels and server in the way a user does; whatever is left is ended by :func:`_end`."""
    with contextlib.suppress(OSError, subprocess.TimeoutExpired):
        server.end_kernels()
        server.ask("shutdown", "POST")
        started.wait(ENDS_WITHIN)


def _end(started: subprocess.Popen[bytes], processes: Path) -> list[int]:
    """End the server if it still runs, and every process that names itself as one of its own; those that had to be."""
    if started.poll() is None:
        started.terminate()
        try:
            started.wait(ENDS_WITHIN)
        except subprocess.TimeoutExpired:
            started.kill()
            started.wait()
    return [pid for path in processes.glob("*.process") if _ended(pid := int(path.stem)) and pid != started.pid]


def _ended(pid: int) -> bool:
    """Whether a process was there, and was ended."""
    try:
        os.kill(pid, getattr(signal, "SIGKILL", signal.SIGTERM))
    except OSError:
        return False
    return True
