"""Every mutant of a file: one small change each, by the operators of mutmut.

Of mutmut only the list of changes is used. Its own runner puts all mutants of a function into one file and leaves out
module level, properties and every other decorated function; here they are drawn at random and made one at a time.
Type annotations, decorators and imports are not changed, nor are triple-quoted strings (documentation).
"""

from __future__ import annotations

import ast
import difflib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, order=True)
class Mutant:
    """One change to one file.

    Parameters
    ----------
    file : str
        The changed file, from the root.
    line : int
        Line of what was changed.
    number : int
        Which of the file's mutants this is, in the order in which they are found.
    operator : str
        What kind of change.
    """

    file: str
    line: int
    number: int
    operator: str


def mutants_of(root: Path, file: str) -> list[Mutant]:
    """All mutants of a file, in a fixed order."""
    return [
        Mutant(file, line, number, operator) for number, (line, operator, _, _) in enumerate(_changes(root / file)[1])
    ]


def mutated(root: Path, mutant: Mutant) -> str:
    """The whole text of a file with one change made."""
    module, changes = _changes(root / mutant.file)
    _, _, before, after = changes[mutant.number]
    return str(module.deep_replace(before, after).code)


def changed_lines(before: str, after: str) -> tuple[str, str]:
    """What differs between two texts: the lines before and the lines after, stripped."""
    told = list(difflib.unified_diff(before.splitlines(), after.splitlines(), n=0, lineterm=""))[2:]
    gone = [line[1:].strip() for line in told if line.startswith("-")]
    come = [line[1:].strip() for line in told if line.startswith("+")]
    return "\n".join(gone), "\n".join(come)


def statement_lines(source: str, line: int) -> range:
    """Lines of the innermost statement that holds a line; of a compound statement its head only."""
    best = range(line, line + 1)
    size = None
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.stmt):
            body = getattr(node, "body", None)
            decorators = [each.lineno for each in getattr(node, "decorator_list", [])]
            first = min([node.lineno, *decorators])
            last = max(first, body[0].lineno - 1) if body else node.end_lineno or node.lineno
            inside = range(first, last + 1)
            if line in inside and (size is None or len(inside) <= size):
                best, size = inside, len(inside)
    return best


def _changes(path: Path) -> tuple[object, list[tuple[int, str, object, object]]]:
    """A file as parsed, and of every change: line, operator, node before and node after."""
    import libcst as cst
    from libcst.metadata import MetadataWrapper, PositionProvider
    from mutmut.mutation.mutators import mutation_operators

    found = []

    class Finder(cst.CSTVisitor):
        METADATA_DEPENDENCIES = (PositionProvider,)

        def on_visit(self, node: cst.CSTNode) -> bool:
            if isinstance(node, (cst.Annotation, cst.Decorator, cst.Import, cst.ImportFrom)):
                return False
            position = self.get_metadata(PositionProvider, node, None)
            for kind, operator in mutation_operators:
                if position and isinstance(node, kind):
                    name = operator.__name__.removeprefix("operator_").replace("_", " ")
                    found.extend((position.start.line, name, node, after) for after in operator(node))
            return True

    wrapper = MetadataWrapper(cst.parse_module(path.read_text(encoding="utf-8")))
    wrapper.visit(Finder())
    return wrapper.module, found


def files_in(root: Path, folders: Iterable[str]) -> Iterator[str]:
    """Python files of some folders, from the root, in order."""
    for folder in folders:
        for path in sorted((root / folder).rglob("*.py")):
            yield path.relative_to(root).as_posix()
