"""What one text was read as, or why it was refused."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Read:
    """A value, and a note when it was written unlike the rule but can mean only this."""

    value: Any
    note: str = ""


@dataclass(frozen=True)
class Bad:
    """A refusal: the rule, what to do, and the rule's short name."""

    rule: str
    todo: str
    code: str


Reading = Read | Bad
