"""The cells of a notebook run one after the other in this process, by the same shell as in a kernel's; no kernel."""

from __future__ import annotations

import io
import os
import tempfile
import warnings
from collections.abc import Callable, Sequence
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

from ipykernel.jsonutil import json_clean
from IPython.core.displayhook import DisplayHook
from IPython.core.displaypub import DisplayPublisher
from IPython.core.interactiveshell import InteractiveShell
from traitlets import List, Type
from traitlets.config import Config

Output = dict[str, Any]


class CellError(Exception):
    """What a cell raised, out of the cell."""


class _Stream(io.TextIOBase):
    """What a cell prints, put among its outputs where it was printed."""

    def __init__(self, outputs: list[Output], name: str) -> None:
        self._outputs, self._name = outputs, name

    def write(self, text: str) -> int:
        last = self._outputs[-1] if self._outputs else {}
        if last.get("name") == self._name:
            last["text"] += text
        elif text:
            self._outputs.append({"output_type": "stream", "name": self._name, "text": text})
        return len(text)


def _shown(kind: str, data: Any, metadata: Any, **more: Any) -> Output:
    clean: Any = json_clean  # pictures come as bytes
    return {"output_type": kind, "data": clean(data), "metadata": clean(metadata or {})} | more


class _LastValue(DisplayHook):
    """Keeps the last value of a cell as its output instead of printing it."""

    def write_output_prompt(self) -> None:
        pass

    def write_format_data(self, format_dict: Any, md_dict: Any = None) -> None:
        shell: Any = self.shell
        shell.outputs.append(_shown("execute_result", format_dict, md_dict, execution_count=None))

    def finish_displayhook(self) -> None:
        self._is_active = False


class _Displayed(DisplayPublisher):
    """Keeps what a cell displays along the way."""

    def publish(self, data: Any, metadata: Any = None, *_: Any, **__: Any) -> None:
        shell: Any = self.shell
        shell.outputs.append(_shown("display_data", data, metadata))

    def clear_output(self, wait: bool = False) -> None:
        shell: Any = self.shell
        shell.outputs.clear()


class _Shell(InteractiveShell):
    """IPython's shell, whose cells leave what they show in ``outputs``; it keeps no history and prints no traceback."""

    displayhook_class = Type(_LastValue)
    display_pub_class = Type(_Displayed)
    outputs: Any = List()

    def showtraceback(self, *_: Any, **__: Any) -> None:
        pass


def run_cells(sources: Sequence[str], folder: Path, begun: Callable[[int], None]) -> list[list[Output]]:
    """Run cells as JupyterLab would: one shell, one after the other, warnings kept quiet.

    Parameters
    ----------
    sources : sequence of str
        Code of each cell.
    folder : Path
        Folder they run in.
    begun : callable
        Receives the number of each cell, from 0, as it starts.

    Returns
    -------
    list of list of dict
        Outputs of each cell, as a notebook file holds them.

    Raises
    ------
    CellError
        If a cell fails; its cause is what the cell raised.
    """
    os.chdir(folder)
    config = Config({"HistoryManager": {"enabled": False}})
    out: list[list[Output]] = []
    with tempfile.TemporaryDirectory() as own:  # the user's own start-up files are not part of a page
        InteractiveShell.clear_instance()  # this process may be the copy of one with a shell of its own
        shell: Any = _Shell.instance(config=config, ipython_dir=own)
        warnings.simplefilter("ignore")
        for number, source in enumerate(sources):
            begun(number)
            outputs: list[Output] = []
            shell.outputs = outputs
            with redirect_stdout(_Stream(outputs, "stdout")), redirect_stderr(_Stream(outputs, "stderr")):
                done = shell.run_cell(source, store_history=True)
            failure = done.error_before_exec or done.error_in_exec
            if failure is not None:
                raise CellError from failure
            out.append(outputs)
    return out
