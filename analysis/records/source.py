"""Which source code this is: what code made is of no use to other code."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[1]


def source_hash(package: Path = PACKAGE) -> str:
    """SHA-256 of the names and bytes of every source file of the package; what running leaves there does not count.

    Raises
    ------
    OSError
        If a file cannot be read.
    """
    files = sorted(path for path in package.rglob("*") if path.is_file() and "__pycache__" not in path.parts)
    whole = hashlib.sha256()
    for path in files:
        whole.update(f"{path.relative_to(package)} {hashlib.sha256(path.read_bytes()).hexdigest()}\n".encode())
    return whole.hexdigest()


@cache
def code_at_work() -> str:
    """Hash of the package as this process runs it, read once."""
    return source_hash()
