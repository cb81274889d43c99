"""Notebooks run in this process: the same cells as in a kernel, in a fraction of its time."""

from __future__ import annotations

import ast
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import nbformat

from analysis.report import render

FOLDER = Path(__file__).resolve().parents[2] / "notebooks"


def shown(value: Any) -> dict[str, Any]:
    """What JupyterLab would be given of the last value of a cell."""
    if value is None:
        return {}
    bundle = value._repr_mimebundle_() if hasattr(value, "_repr_mimebundle_") else {}
    data = dict((bundle[0] if isinstance(bundle, tuple) else bundle) or {})
    if hasattr(value, "_repr_html_"):
        data["text/html"] = value._repr_html_()
    return {kind: text for kind, text in data.items() if text is not None}


def execute(path: Path, given: Mapping[str, Any], say: Any = None) -> Any:
    """Stand in for :func:`analysis.report.render.execute`; errors of the user's come as they are raised."""
    notebook = nbformat.from_dict(render._with_parameters(render._read_notebook(path), given))
    space: dict[str, Any] = {"__name__": "__main__"}
    for cell in notebook.cells:
        if cell.cell_type != "code":
            continue
        tree = ast.parse("".join(cell.source))
        last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
        exec(compile(tree, path.name, "exec"), space)
        if last is not None:
            data = shown(eval(compile(ast.Expression(last.value), path.name, "eval"), space))
            cell.outputs = [nbformat.v4.new_output("display_data", data)] if data else []
    return notebook


def html_of(notebook: Any) -> str:
    """All that the cells show."""
    outputs = [output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs]
    return "\n".join(output.data.get("text/html", "") for output in outputs)
