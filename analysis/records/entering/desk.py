"""What the log already knows while a job is being entered."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis.records.dictionary import BY_NAME, JOBS
from analysis.records.entering.cells import Rules
from analysis.records.entering.entry import job_codes, next_code, texts_of
from analysis.records.entering.presets import Presets, read_presets
from analysis.records.entering.storing import read_files
from analysis.records.entering.table_text import TableText
from analysis.records.log import read_log
from analysis.records.settings import read_settings

Row = dict[str, str]


@dataclass(frozen=True)
class Desk:
    """The log on the desk.

    Parameters
    ----------
    folder : Path
        The log.
    rules : Rules
        How answers are read.
    presets : Presets
        The shop's own.
    tables : mapping of str to DataFrame
        Typed; a faulty cell is missing.
    texts : mapping of str to TableText
        The files that are there.
    """

    folder: Path
    rules: Rules
    presets: Presets
    tables: Mapping[str, pd.DataFrame]
    texts: Mapping[str, TableText]

    @classmethod
    def of(cls, folder: Path, today: dt.date) -> Desk:
        """Read a log.

        Raises
        ------
        LogError, SettingsError
            If a file cannot be read to its end, or the settings or presets cannot be used.
        """
        texts = texts_of(read_files(folder))
        rules = Rules(read_settings(folder), today)
        return cls(folder, rules, read_presets(folder, rules), read_log(folder, today).tables, texts)

    def codes(self, table: str, name: str) -> list[str]:
        """Different codes of a column in the order of the file."""
        return [str(code) for code in self.tables[table][name].dropna().unique()]

    @property
    def next_job(self) -> str:
        """The next job code in the shop's own pattern."""
        return next_code(job_codes(self.texts["jobs"]), JOBS["job_id"].example)

    @property
    def next_donor(self) -> str:
        """The next donor code in the shop's own pattern; empty when the shop keeps no list of donors."""
        donors = self.codes("donors", "donor_id")
        return next_code(donors, "") if donors else ""

    @property
    def only_technician(self) -> str:
        """Whoever did every job that names one; empty where several did, since Enter must not say whose a job is."""
        named = {*self.codes("jobs", "technician_id"), *self.codes("technicians", "technician_id")}
        return named.pop() if len(named) == 1 else ""

    @property
    def open_jobs(self) -> list[str]:
        """Accepted jobs without an outcome, the newest first."""
        jobs = self.tables["jobs"]
        still = jobs["decision"].eq("accepted") & jobs["outcome"].isna() & jobs["closed_date"].isna()
        return [str(code) for code in jobs.loc[still, "job_id"].dropna()][::-1]

    def has_job(self, job: str) -> bool:
        """Whether the job stands in jobs.csv."""
        return job in job_codes(self.texts["jobs"])

    def written(self, job: str) -> Row:
        """What stands in the declared columns of the job's row, faulty or not; empty for a new job.

        Raises
        ------
        LogError
            If the code stands twice.
        """
        row = self.texts["jobs"].row_of("job_id", job)
        return self.texts["jobs"].texts(row) if row else {}

    def known(self, job: str) -> Row:
        """The job's cells that are filled and readable."""
        jobs = self.tables["jobs"]
        row = jobs[jobs["job_id"].eq(job)]
        written = self.written(job)
        return {name: text for name, text in written.items() if text and len(row) and not pd.isna(row.iloc[0][name])}

    def tests_n(self, job: str) -> int:
        """Boot tests of a job so far."""
        return int(self.tables["boot_tests"]["job_id"].eq(job).sum())

    def last_step(self, job: str, chip: str) -> int:
        """Highest number of a heat step on this chip of the job; 0 when there is none."""
        steps = self.tables["heat_steps"]
        numbers = steps.loc[steps["job_id"].eq(job) & steps["chip_role"].eq(chip), "step_no"].dropna()
        return int(numbers.max()) if len(numbers) else 0

    def first_new_line(self, table: str) -> int:
        """Line on which the first row that is added will stand."""
        return (self.texts[table].lines_n if table in self.texts else 1) + 1

    def lists(self, table: str) -> bool:
        """Whether rows may be added to donors.csv or technicians.csv.

        A shop that has not listed the ones its jobs name would make them all unknown by listing the first.
        """
        if table not in self.texts:
            return False
        key = BY_NAME[table].key[0]
        named = [frame[key].notna().any() for name, frame in self.tables.items() if key in frame and name != table]
        return bool(self.codes(table, key)) or not any(named)


def numbered(desk: Desk, job: str, rows: Mapping[str, list[Row]]) -> dict[str, tuple[Row, ...]]:
    """Give rows the numbers they do not have yet: boot test, step of the chip, and the test that work came before.

    Work without a test of its own is taken as done before the next test of the job.
    """
    tests = desk.tests_n(job)
    out: dict[str, tuple[Row, ...]] = {}
    for table, given in rows.items():
        steps: dict[str, int] = {}
        done = []
        for at, row in enumerate(given, start=1):
            row = dict(row)
            if table == "boot_tests":
                row.setdefault("test_no", str(tests + at))
            if table in ("chip_sides", "heat_steps"):
                row.setdefault("before_test_no", str(tests + 1))
            if table == "heat_steps":
                chip = row.get("chip_role", "")
                steps[chip] = steps.get(chip, desk.last_step(job, chip)) + 1
                row.setdefault("step_no", str(steps[chip]))
                row.setdefault("entry_kind", "typed")
            done.append(row)
        if done:
            out[table] = tuple(done)
    return out
