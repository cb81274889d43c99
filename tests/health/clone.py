"""A clone of the committed state in a temporary folder, whose ``analysis`` is the one imported there."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.studies.record import ROOT

KEPT = Path(tempfile.gettempdir()) / "rework-health"


def commit_of(root: Path) -> str:
    """The commit that is measured."""
    return _git(root, "rev-parse", "--short=12", "HEAD")


def tree_of(root: Path, folder: str = "analysis") -> str:
    """Git's hash of a folder as committed: the same wherever the same code stands, whatever else the commit holds."""
    return _git(root, "rev-parse", f"HEAD:{folder}")[:12]


def committed(folder: Path, commit: str = "HEAD") -> Path:
    """Clone a commit of this checkout, or bring an older clone of it up to date.

    Parameters
    ----------
    folder : Path
        Where what is measured is kept; the clone is its ``clone``.
    commit : str
        A commit of this checkout.

    Returns
    -------
    Path
        The clone's root, clean.
    """
    root = folder / "clone"
    if not root.exists():
        folder.mkdir(parents=True, exist_ok=True)
        _git(folder, "clone", "--quiet", "--no-hardlinks", str(ROOT), str(root))
    _git(root, "fetch", "--quiet", str(ROOT), "HEAD")
    _git(root, "checkout", "--quiet", "--force", "--detach", _git(ROOT, "rev-parse", commit))
    return root


def environment(root: Path) -> dict[str, str]:
    """Environment in which ``analysis`` and ``tests`` are the clone's, one thread a process.

    Raises
    ------
    SystemExit
        If Python would import another ``analysis`` all the same.
    """
    own = dict(os.environ, PYTHONPATH=str(root), PYTHONHASHSEED="0")
    own |= dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    ask = [sys.executable, "-c", "import analysis, tests; print(analysis.__file__); print(tests.__file__)"]
    found = subprocess.run(ask, cwd=root, env=own, capture_output=True, text=True, check=True).stdout.split("\n")
    if not all(Path(line).resolve().is_relative_to(root.resolve()) for line in found if line):
        raise SystemExit(f"The clone in {root} is not what Python imports there: {found}")
    return own


def _git(where: Path, *words: str) -> str:
    done = subprocess.run(["git", *words], cwd=where, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"git {words[0]} failed: {done.stderr.strip()}")
    return done.stdout.strip()
