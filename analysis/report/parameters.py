"""Parameters of a notebook: read from its parameters cell, refused when unknown, injected as plain values."""

from __future__ import annotations

import ast
import difflib
import math
from collections.abc import Mapping
from typing import Any

from analysis.errors import RenderError

Value = str | int | float | bool | None
TAG = "parameters"
_LARGEST = 10**15  # Python refuses to write out whole numbers of thousands of digits


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
    """Names and defaults of a parameters cell: plain assignments of texts, numbers, true/false or None.

    Raises
    ------
    RenderError
        If the cell holds anything else, so that no parameter is overlooked without a word.
    """
    out: dict[str, Value] = {}
    try:
        for node in ast.parse(source).body:
            target = node.targets[0] if isinstance(node, ast.Assign) and len(node.targets) == 1 else None
            if not isinstance(node, ast.Assign) or not isinstance(target, ast.Name):
                raise ValueError(ast.unparse(node))
            out[target.id] = ast.literal_eval(node.value)
            _refuse_odd(target.id, out[target.id])
    except (ValueError, SyntaxError, MemoryError, RecursionError) as error:  # the last two: nested too deep to parse
        rule = "It holds only lines such as: month = '2024-09'."
        raise RenderError(f"The parameters cell cannot be read ({error}).", rule=rule) from None
    return out


def _refuse_odd(name: str, value: object) -> None:
    """Only plain, finite values can be written out and read back as what they are."""
    if type(value) is int and abs(value) >= _LARGEST:
        raise RenderError(
            f"Parameter {name} is a number of more than 15 digits.", rule="Numbers have at most 15 digits."
        )
    if isinstance(value, str) and "\0" in value:
        raise RenderError(f"Parameter {name} = {value!r} holds a NUL character.", rule="No text and no path holds one.")
    plain = value is None or type(value) in (str, int, float, bool)
    if not plain or (isinstance(value, float) and not math.isfinite(value)):
        rule = "A parameter is a text, a number, True, False or None."
        raise RenderError(f"Parameter {name} = {value!r} is of the wrong kind.", rule=rule)


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
            hint = f"Did you mean {near[0]}? " if near else ""
            raise RenderError(f"The notebook has no parameter '{name}'.", todo=f"{hint}Known: {', '.join(known)}.")
        _refuse_odd(name, value)
        whole_for_decimal = type(known[name]) is float and type(value) is int
        if known[name] is not None and type(value) is not type(known[name]) and not whole_for_decimal:
            raise RenderError(
                f"Parameter {name} = {value!r} is of the wrong kind.", rule=f"Its default is {known[name]!r}."
            )
    # repr of a plain value cannot carry code; only plain values come this far.
    return "\n".join(f"{name} = {value!r}" for name, value in (known | dict(given)).items())
