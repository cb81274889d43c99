"""Words of the pages in plain language, from one place."""

from __future__ import annotations

import functools
import tomllib
from pathlib import Path

from analysis.cohort.outcomes import DEFINITIONS

FILE = Path(__file__).resolve().parent / "methods" / "glossary.toml"


@functools.cache
def glossary() -> dict[str, str]:
    """Word to meaning, in alphabetical order; the fixed definitions are among them word by word."""
    words = tomllib.loads(FILE.read_text(encoding="utf-8"))["words"]
    both = words | DEFINITIONS
    return {word: both[word] for word in sorted(both, key=str.casefold)}
