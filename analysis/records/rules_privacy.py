"""Rules about privacy: no text of the log leads to a client."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.records.dictionary import TABLES, Kind
from analysis.records.hiding import PERSONAL
from analysis.records.identifiers import NAME, all_read_like, with_lone_words
from analysis.records.problems import Problem, Severity
from analysis.records.rulebook import Book


def no_personal_data(book: Book) -> list[Problem]:
    """No code reads like a name, an e-mail address, a telephone or a device's number.

    A warning, for a code may only look like one; what no code of a shop looks like is refused when it is read.
    """
    out: list[Problem] = []
    rule = "a code of your own that leads to nobody: no name, e-mail address, telephone or device number"
    for table in TABLES:
        for column in table.columns:
            if column.kind is not Kind.KEY:
                continue
            coded = book.coded[table.name][column.name]
            told = all_read_like(coded.words)
            if "jobs.job_id" in (f"{table.name}.{column.name}", column.references):
                told |= dict.fromkeys(with_lone_words(coded.words), NAME)
            for what in sorted(set(told.values())):
                mask = pd.Series(np.isin(coded.codes, [place for place, like in told.items() if like == what]))
                todo = (
                    f"This reads like {what}. If it is, write a code of your own in its place, here and wherever it"
                    " stands; if it only looks so, leave it. Reports show it as 'hidden' until then."
                )
                warn = Severity.WARNING
                out += book.say(table.name, mask, column.name, rule, todo, PERSONAL, severity=warn)
    return out
