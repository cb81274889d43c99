"""When too much work carries no boot test for anything to be said of work before the first one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from analysis.records.problems import plural

if TYPE_CHECKING:
    from analysis.cohort.features import Cohort

UNDATED_WORK = "work without before_test_no on a job with several boot tests"


@dataclass(frozen=True)
class Undatable:
    """Nothing of work is told: for too many jobs it cannot be told which of it came before boot test 1.

    Parameters
    ----------
    jobs : int
        Jobs with several boot tests and work without ``before_test_no``.
    """

    jobs: int

    @property
    def why(self) -> str:
        """The reason, as a clause."""
        return (
            f"{plural(self.jobs, 'job')} with several boot tests have work without before_test_no, so that it cannot be"
            " told what was done before the first test"
        )

    @property
    def todo(self) -> str:
        """What would be wrong without them, and what to do."""
        return (
            "Without them the failures would be mostly those given up at once. Fill in before_test_no (1 for work"
            " before the first test) to have it."
        )


def too_many_undated(undatable: pd.DataFrame, failures: pd.DataFrame) -> bool:
    """Whether over a tenth of the failed first tests would drop out with their undated work.

    What is left would be the failures that were given up at once. The share is common practice, no source.
    """
    return 10 * len(undatable) > len(failures)


def undatable_of(cohort: Cohort) -> Undatable | None:
    """Say whether nothing may be told of work before boot test 1 of a whole log; None where it may."""
    rows = cohort.first_boots
    undated = rows[rows["job_id"].isin(cohort.undated.jobs)]
    return Undatable(len(undated)) if too_many_undated(undated, rows[rows["first_boot"].eq(0)]) else None
