"""The methods as declared, with their sources read from the code itself."""

from __future__ import annotations

import ast
import functools
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FILE = Path(__file__).resolve().parent / "models.toml"
PACKAGE = Path(__file__).resolve().parents[2]
YEAR = re.compile(r"\b(18|19|20)\d\d\b")


@dataclass(frozen=True)
class Method:
    """One model of the suite.

    Parameters
    ----------
    name, tells, formula, assumes, pages : str
        Plain text.
    modules : tuple of str
        Modules below ``analysis`` that hold it; their docstrings hold its sources.
    engines, studies : tuple of str
        Its outside checks in the verification table, and the simulations that look at it.
    """

    name: str
    tells: str
    formula: str
    assumes: str
    pages: str
    modules: tuple[str, ...]
    engines: tuple[str, ...] = ()
    studies: tuple[str, ...] = ()

    @property
    def sources(self) -> tuple[str, ...]:
        """What the docstrings of its modules cite, word by word; a module that cites nothing is passed over."""
        return tuple(text for module in self.modules for text in cited(module))


@functools.cache
def cited(module: str) -> tuple[str, ...]:
    """Sources that a module's docstring names: from "Source" to the last sentence that cites, else paragraphs that do."""
    path = PACKAGE / f"{module.replace('.', '/')}.py"
    text = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    parts = [" ".join(part.split()).replace("``", "") for part in text.split("\n\n")]
    named = [found[1] for part in parts if (found := re.search(r"\bSources?(?: of [^:]+)?: (.*)$", part))]
    return tuple(_citing(part) for part in named or [part for part in parts if YEAR.search(part)])


def _citing(text: str) -> str:
    """A text up to its last sentence with a year, or that says "from memory": what follows explains."""
    sentences = re.split(r"(?<=[.)]) (?=[A-Z])", text)
    last = max((at for at, words in enumerate(sentences) if YEAR.search(words) or "memory" in words), default=0)
    return " ".join(sentences[: last + 1])


@functools.cache
def methods() -> tuple[Method, ...]:
    """Every method, in the order of the pages."""
    found = tomllib.loads(FILE.read_text(encoding="utf-8"))["method"]
    return tuple(_method(each) for each in found)


def _method(found: dict[str, Any]) -> Method:
    texts = {name: str(found[name]) for name in ("name", "tells", "formula", "assumes", "pages")}
    return Method(
        **texts,
        modules=tuple(found["modules"]),
        engines=tuple(found["engines"]),
        studies=tuple(found.get("studies", ())),
    )
