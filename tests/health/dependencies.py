"""``python -m tests.health.dependencies``: what the suite depends on: pins, imports, licences, known vulnerabilities.

A vulnerability audit is told as had only for packages that the database answered for; pip-audit itself says that none
is known where it could look up none.
"""

from __future__ import annotations

import argparse
import ast
import json
import re
import subprocess
import sys
import tempfile
import tomllib
from collections import Counter
from collections.abc import Iterable
from importlib.metadata import PackageNotFoundError, distribution, packages_distributions
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.health.outcomes import keep
from tests.studies.record import ROOT

# Declared and never imported by name, each with what needs it.
WITHOUT_IMPORT = {
    "jupyterlab": "the program in which notebooks are opened",
    "ipykernel": "the kernel of notebooks in JupyterLab, also where no module imports it",
    "pytest-xdist": "pytest's option -n",
    "html5lib": "a parser that BeautifulSoup takes by its name",
    "ruff": "run as a program by tests/house",
    "mypy": "run as a program by tests/house",
    "pip-audit": "run as a program by this command",
}


def declared() -> dict[str, list[Requirement]]:
    """Requirements of the suite (``""``) and of each extra."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    groups = {"": project["dependencies"]} | project["optional-dependencies"]
    return {name: [Requirement(line) for line in lines] for name, lines in groups.items()}


def pinned() -> dict[str, str]:
    """Version of each pinned package."""
    lines = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pairs = (line.split("==") for line in lines if "==" in line)
    return {canonicalize_name(name): version.strip() for name, version in pairs}


def installed(name: str) -> str | None:
    """Installed version of a package."""
    try:
        return distribution(name).version
    except PackageNotFoundError:
        return None


def pins_at_odds(needs: dict[str, list[Requirement]], pins: dict[str, str]) -> list[str]:
    """Declared packages without a pin, or with one that the declaration does not allow; pins that differ from here."""
    out = []
    for extra, lines in needs.items():
        for need in lines:
            pin = pins.get(canonicalize_name(need.name))
            if pin is None:
                out.append(f"{need.name} ({extra or 'suite'}) is not pinned")
            elif not need.specifier.contains(pin, prereleases=True):
                out.append(f"{need.name} is pinned at {pin}, declared {need.specifier}")
    here = {name: installed(name) for name in pins}
    out += [
        f"{name} is pinned at {pins[name]}, here {has}" for name, has in here.items() if has not in (pins[name], None)
    ]
    return out


def imported(folders: Iterable[Path]) -> set[str]:
    """Distributions whose modules the Python files and notebooks of some folders import."""
    names: set[str] = set()
    for folder in folders:
        texts = [path.read_text(encoding="utf-8") for path in folder.rglob("*.py")]
        for path in folder.rglob("*.ipynb"):
            cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
            texts += ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "code"]
        for text in texts:
            names |= imported_names(text)
    known = packages_distributions()
    return {canonicalize_name(each) for name in names for each in known.get(name, ())}


def imported_names(text: str) -> set[str]:
    """Top-level modules that a Python text imports, also by name through ``import_module``."""
    names = set(re.findall(r"import_module\(\s*[\"'](\w+)", text))
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            names |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.add(node.module.partition(".")[0])
    return names


def unused_and_undeclared() -> tuple[list[str], list[str]]:
    """Declared packages that nothing imports; packages that the suite itself imports without declaring them."""
    needs = declared()
    own = imported([ROOT / "analysis", ROOT / "notebooks"])
    every = own | imported([ROOT / "tests"])
    named = {extra: {canonicalize_name(need.name) for need in lines} for extra, lines in needs.items()}
    unused = [name for name in sorted(named[""] - own) if name not in WITHOUT_IMPORT]
    extras = set().union(*(names for extra, names in named.items() if extra))
    unused += [name for name in sorted(extras - every) if name not in WITHOUT_IMPORT]
    return unused, sorted(own - named[""] - {"rework-outcomes"})


def licence(name: str) -> str:
    """Licence as a package's own metadata tell it: expression, else classifiers, else the first line of the field."""
    told = distribution(name).metadata
    classifiers = [line.rpartition("::")[2].strip() for line in told.get_all("Classifier", []) if "License ::" in line]
    classifiers = [each for each in classifiers if each != "OSI Approved"]
    words = told.get("License-Expression") or " and ".join(classifiers) or (told.get("License") or "").strip()
    return words.partition("\n")[0][:60] or "not told"


def audited(pins: dict[str, str]) -> dict[str, object]:
    """What pip-audit found for the pinned versions, and for how many its database answered."""
    with tempfile.TemporaryDirectory() as folder:
        wanted = Path(folder) / "pinned.txt"
        wanted.write_text("".join(f"{name}=={version}\n" for name, version in pins.items()), encoding="utf-8")
        words = [sys.executable, "-m", "pip_audit", "--progress-spinner", "off", "--format", "json", "--no-deps"]
        done = subprocess.run(
            [*words, "--disable-pip", "--requirement", str(wanted)], capture_output=True, text=True, check=False
        )
    return audit_told(done.stdout, done.stderr)


def audit_told(out: str, err: str) -> dict[str, object]:
    """An audit's output as numbers answered for, vulnerabilities found and the reason why others were not looked up."""
    try:
        rows = json.loads(out)["dependencies"]
    except ValueError:
        reason = (err.strip().splitlines() or ["pip-audit said nothing"])[-1]
        return {
            "answered": 0,
            "asked": 0,
            "found": [],
            "reason": re.sub(r"https?://\S+|host='[^']*'", "its database", reason),
        }
    skipped = [row["skip_reason"].partition(":")[0] for row in rows if "skip_reason" in row]
    found = [f"{row['name']} {row['version']}: {one['id']}" for row in rows for one in row.get("vulns", ())]
    reason = "; ".join(f"{n} x {words}" for words, n in Counter(skipped).most_common())
    return {"answered": len(rows) - len(skipped), "asked": len(rows), "found": found, "reason": reason}


def audit_lines(audit: dict[str, object]) -> list[str]:
    """The audit in words; none is said to be clean that was not looked up."""
    answered, asked = audit["answered"], audit["asked"]
    if not answered:
        return [
            f"Vulnerabilities: NOT AUDITED, 0 of {asked} packages answered for: {audit['reason']}",
            "  (a mirror that does not keep the registry's record of vulnerabilities says so of every package)",
        ]
    lines = [f"Vulnerabilities: {len(audit['found'])} found in {answered} of {asked} packages", *audit["found"]]
    return [*lines, f"NOT AUDITED: {audit['reason']}"] if audit["reason"] else lines


def main() -> None:
    """Print each finding; with ``--write`` keep them."""
    parser = argparse.ArgumentParser(prog="python -m tests.health.dependencies", description=__doc__)
    parser.add_argument("--write", action="store_true", help="keep the result in tests/health/results/")
    args = parser.parse_args()
    pins = pinned()
    checked = subprocess.run([sys.executable, "-m", "pip", "check"], capture_output=True, text=True, check=False).stdout
    at_odds = pins_at_odds(declared(), pins)
    unused, undeclared = unused_and_undeclared()
    here = [name for name in pins if installed(name)]
    licences = {name: licence(name) for name in here}
    audit = audited(pins)
    print(f"pip check: {checked.strip()}")
    print(f"Pins: {len(pins)}, {len(here)} of them installed here; at odds: {at_odds or 'none'}")
    print(f"Declared, imported by nothing: {unused or 'none'}; imported, not declared: {undeclared or 'none'}")
    print("Licences of the pinned packages installed here:")
    for words, n in Counter(licences.values()).most_common():
        few = "" if n > 3 else f" ({', '.join(name for name, each in licences.items() if each == words)})"
        print(f"  {n:>3} {words}{few}")
    print("\n".join(audit_lines(audit)))
    if args.write:
        found = {"pip_check": checked.strip(), "pins": len(pins), "at_odds": at_odds, "unused": unused}
        keep("dependencies", found | {"undeclared": undeclared, "licences": licences, "audit": audit})


if __name__ == "__main__":
    main()
