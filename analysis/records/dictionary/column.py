"""What a column and a table of the log are; the declarations themselves lie beside this file."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum


class Kind(StrEnum):
    """How the text of a cell is read."""

    KEY = "key"  # the shop's own code, compared as text: job "007" stays "007"
    CHOICE = "choice"  # one of the listed codes
    NUMBER = "number"
    INTEGER = "whole number"
    DATE = "date"
    YES_NO = "yes or no"


WORD_OF = {True: "yes", False: "no"}  # how a yes/no stands in the log, is typed, and is told apart by a model


class KnownAt(StrEnum):
    """When a fact is known; a model may only see what is known when it is asked."""

    INTAKE = "intake"
    ASSESSMENT = "assessment before work"
    BENCH = "bench, with the boot test it precedes"
    CLOSE = "close"


class Role(StrEnum):
    """What a column may be used for."""

    PREDICTOR = "predictor"
    RIVAL = "rival"  # a prediction by someone else, to be judged beside the model
    SELECTION = "selection"  # decides whether an outcome exists at all
    KEY = "key"
    OUTCOME = "outcome"
    MONEY = "money"


class Required(StrEnum):
    """When a cell must be filled."""

    ALWAYS = "always"
    WHEN_CLOSED = "for an accepted job that is closed"
    BY_RULE = "when the rule in its help text applies"
    NO = "never"


@dataclass(frozen=True)
class Choice:
    """One allowed code of a column, with its plain meaning and the label used in reports."""

    code: str
    meaning: str
    label: str = ""

    @property
    def text(self) -> str:
        """Label for reports; the code with spaces when no label is declared."""
        return self.label or self.code.replace("_", " ")


@dataclass(frozen=True)
class Column:
    """One column of the log, declared once.

    Parameters
    ----------
    name : str
        Heading in the CSV file.
    kind : Kind
        How its text is read.
    known_at : KnownAt
        When the fact is known.
    role : Role
        What it may be used for.
    help : str
        Plain explanation for the person who fills the log.
    label : str
        Name used in reports.
    unit : str
        "°C", "s", "passes", "years", "hours", "pads" or empty.
    choices : tuple of Choice
        Allowed codes, for ``Kind.CHOICE``.
    low, high : float or None
        Allowed range, both ends included, for numbers.
    zero_words : tuple of str
        Words that are read as 0, where 0 says that there was none; a blank never says so.
    required : Required
        When a cell must be filled.
    default : str
        What a blank cell stands for, where it stands for anything.
    references : str
        "table.column" this key must exist in, when that table is part of the log.
    example : str
        A value for the blank log's commented line and for help.
    """

    name: str
    kind: Kind
    known_at: KnownAt
    role: Role
    help: str
    label: str = ""
    unit: str = ""
    choices: tuple[Choice, ...] = ()
    low: float | None = None
    high: float | None = None
    zero_words: tuple[str, ...] = ()
    required: Required = Required.NO
    default: str = ""
    references: str = ""
    example: str = ""

    @property
    def title(self) -> str:
        """Name used in reports."""
        return self.label or self.name.replace("_", " ")

    @property
    def codes(self) -> tuple[str, ...]:
        """Allowed codes, in the order declared."""
        return tuple(choice.code for choice in self.choices)

    def text_of(self, code: str) -> str:
        """Label of one code; the code itself when it is not declared."""
        return next((c.text for c in self.choices if c.code == code), code)

    @property
    def rule(self) -> str:
        """The rule a cell must keep, in words."""
        if self.kind is Kind.CHOICE:
            return "one of: " + ", ".join(self.codes)
        if self.kind is Kind.YES_NO:
            return "yes or no"
        if self.kind is Kind.DATE:
            return "a date written YYYY-MM-DD, not in the future"
        if self.kind is Kind.KEY:
            return "a code of your own (letters, digits, - and _), never a client's name or number"
        what = "a whole number" if self.kind is Kind.INTEGER else "a number"
        unit = f" {self.unit}" if self.unit else ""
        if self.low is not None and self.high is not None:
            zero = "; 0 is none" if self.zero_words else ""
            return f"{what} from {self.low:g} to {self.high:g}{unit}{zero}"
        if self.low is not None:
            return f"{what} of at least {self.low:g}{unit}"
        return f"{what}{unit}"


@dataclass(frozen=True)
class Table:
    """One CSV file of the log.

    Parameters
    ----------
    name : str
        File name without ``.csv``.
    what : str
        What a row is.
    key : tuple of str
        Columns that together name a row; empty when rows need no name.
    columns : tuple of Column
        In the order of the blank template.
    required : bool
        Whether the log cannot do without the file.
    """

    name: str
    what: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    required: bool = False
    by_name: dict[str, Column] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_name", {column.name: column for column in self.columns})

    def __getitem__(self, name: str) -> Column:
        return self.by_name[name]

    @property
    def names(self) -> tuple[str, ...]:
        """Headings in template order."""
        return tuple(column.name for column in self.columns)

    @property
    def file(self) -> str:
        """File name."""
        return f"{self.name}.csv"
