"""Parameters of a notebook: read from its parameters cell, refused when unknown, injected as plain values."""

from __future__ import annotations

import ast
import difflib
from collections.abc import Mapping
from typing import Any

from analysis.errors import RenderError

Value = str | int | float | bool | None
TAG = "parameters"


def parameters_cell(notebook: Mapping[str, Any]) -> int:
    """Position of the cell tagged "parameters".

    Raises
    ------
    RenderError
        If there is none.
    """
    for position, cell in enumerate(notebook["cells"]):
        if cell["cell_type"] == "code" and TAG in cell.get("metadata", {}).get("tags", []):
            return position
    raise RenderError("The notebook has no parameters cell.", todo=f"Tag its first code cell '{TAG}'.")


def declared(source: str) -> dict[str, Value]:
    """Names and defaults of a parameters cell: plain assignments of texts, numbers, true/false or None."""
    out: dict[str, Value] = {}
    for node in ast.parse(source).body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            out[node.targets[0].id] = ast.literal_eval(node.value)
    return out


def filled_cell(source: str, given: Mapping[str, Value]) -> str:
    """Source of the parameters cell with the given values in place of the defaults.

    Raises
    ------
    RenderError
        If a name is unknown or a value is of another kind than the default. Nothing has run by then.
    """
    known = declared(source)
    for name, value in given.items():
        if name not in known:
            near = difflib.get_close_matches(name, known, 1)
            hint = f"Did you mean {near[0]}?" if near else f"Known: {', '.join(known)}."
            raise RenderError(f"The notebook has no parameter '{name}'.", todo=hint)
        if known[name] is not None and type(value) is not type(known[name]):
            raise RenderError(
                f"Parameter {name} = {value!r} is of the wrong kind.", rule=f"Its default is {known[name]!r}."
            )
    # repr of a plain value cannot carry code; the values above are of plain kinds only.
    return "\n".join(f"{name} = {value!r}" for name, value in (known | dict(given)).items())
