"""The tree keeps its shape: top level, file lengths, imports only downward, thin notebooks, no remote hosts."""

from __future__ import annotations

import ast
import json
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "analysis", "notebooks", "data_demo", "tests", "reports"}
# Lower number = lower layer. A module may import from its own layer and from lower ones. The demo stands apart.
LAYERS = {"records": 0, "cohort": 1, "models": 2, "questions": 3, "report": 4}
MODULES = sorted((ROOT / "analysis").rglob("*.py"))
NOTEBOOKS = sorted((ROOT / "notebooks").rglob("*.ipynb"))


def tracked() -> list[str]:
    done = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip("not a git checkout")
    return [name for name in done.stdout.split("\0") if name]


# No page uses these: engines that outside checks and benchmarks compare with others', and the logs of the benchmarks.
ENGINES = {f"analysis.models.{name}" for name in ("log_rank", "beta_geometric")}
OF_NO_PAGE = {*ENGINES, "analysis.demo.network"}


def imported(code: str) -> set[str]:
    """What a piece of code imports of the package, in full."""
    names = []
    for node in ast.walk(ast.parse(code)):
        if isinstance(node, ast.ImportFrom) and node.module:
            names += [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        elif isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
    return {name for name in names if name.startswith("analysis.")}


def imported_parts(module: Path) -> set[str]:
    return {name.split(".")[1] for name in imported(module.read_text(encoding="utf-8"))} - {"__version__"}


def code_of(notebook: Path) -> str:
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    return "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")


def test_every_module_is_used_by_another_or_by_a_notebook():
    codes = [module.read_text(encoding="utf-8") for module in MODULES] + [code_of(notebook) for notebook in NOTEBOOKS]
    used = set().union(*map(imported, codes))
    named = {".".join(path.relative_to(ROOT).with_suffix("").parts) for path in MODULES if path.stem[0] != "_"}
    assert named - used == OF_NO_PAGE


def test_top_level_holds_only_what_was_agreed():
    extra = {name.split("/")[0] for name in tracked()} - TOP_LEVEL
    assert not {name for name in extra if not name.startswith(".")}


@pytest.mark.parametrize("module", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_flow_downward(module):
    part = module.relative_to(ROOT / "analysis").parts[0]
    for target in imported_parts(module):
        assert part != "errors.py", f"errors.py lies below everything and imports nothing of it, not {target}"
        if part == "demo":
            assert target in {"demo", "records", "errors"}, f"the demo imports records only, not {target}"
        elif part in LAYERS and target in LAYERS:
            assert LAYERS[target] <= LAYERS[part], f"{part} must not import from {target}"
        elif part in LAYERS:
            assert target in {"errors"}, f"{part} must not import {target}"


def test_no_file_outgrows_four_hundred_lines():
    lengths = {
        name: len((ROOT / name).read_text(encoding="utf-8").splitlines()) for name in tracked() if name[-3:] == ".py"
    }
    assert {name: lines for name, lines in lengths.items() if lines > 400} == {}


def test_registry_hosts_and_machine_paths_are_nowhere():
    hosts = re.compile(r"https?://[\w.-]*(py" + r"pi|python" + r"hosted|npm" + r"js|debian)\.(org|com)")
    found = []
    for name in tracked():
        path = ROOT / name
        if path.suffix in {".py", ".md", ".toml", ".txt", ".ipynb", ".csv", ".json", ".R", ""} and path.is_file():
            text = path.read_text(encoding="utf-8", errors="replace")
            if hosts.search(text):
                found.append(name)
    assert not found


def test_there_is_a_notebook():
    assert NOTEBOOKS


@pytest.mark.parametrize("notebook", NOTEBOOKS, ids=lambda p: p.name)
def test_notebooks_are_thin_and_stored_without_outputs(notebook):
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    code = [cell for cell in cells if cell["cell_type"] == "code"]
    assert "parameters" in code[0]["metadata"].get("tags", [])
    for cell in code:
        source = "".join(cell["source"])
        assert not cell["outputs"]
        assert cell["execution_count"] is None
        assert len(source.splitlines()) <= 15
        assert not re.search(r"^\s*(def|class|async def) ", source, re.M)
