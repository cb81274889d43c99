"""A job's way over the bench as questions: intake, decision, assessment, work, boot test, closing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from analysis.records.dictionary import DONOR_FACTS, JOBS, KnownAt
from analysis.records.entering.cells import Rules, one_of
from analysis.records.entering.desk import Desk, Row, numbered
from analysis.records.entering.entry import Entry
from analysis.records.entering.questions import Asked, listed
from analysis.records.entering.session import BackError, Question, Session
from analysis.records.entering.storing import tried
from analysis.records.entering.trial import RefusedEntryError, faults_of
from analysis.records.entering.work import Work, row_text
from analysis.records.problems import Problem, quoted

NEXT = "next"
STAGES = ("work", "boot_test", "close", "write")
_DONOR = tuple(column.name for column in DONOR_FACTS)

# What a rule compares the cell at fault with: either of them may be the wrong one.
_AGAINST = {
    "hours-over-total": ("jobs.bench_hours#1",),
    "test-outside-job": ("jobs.received_date#1", "jobs.closed_date#1"),
    "closed-before-received": ("jobs.received_date#1",),
    "earlier-job-later": ("jobs.received_date#1",),
}


class LeftError(Exception):
    """The person decided not to write the entry."""


class Day:
    """Asks for what is needed now and makes an entry of it.

    Parameters
    ----------
    session : Session
        Asks.
    desk : Desk
        What the log knows.
    job : str
        The job to enter or continue; empty to ask for it.

    Raises
    ------
    AnswerError
        If the job cannot be called so.
    """

    def __init__(self, session: Session, desk: Desk, job: str = "") -> None:
        job = "" if job == NEXT else job  # it is proposed then
        given = job if not job or desk.has_job(job) else desk.rules.read(JOBS["job_id"], job)
        self._session, self.desk, self._given = session, desk, given
        self._asked = Asked(desk.rules)
        self._begin(given)

    def _begin(self, job: str) -> None:
        self._job, self._new = job, not self.desk.has_job(job)
        self._known, self._written = ({}, {}) if self._new else (self.desk.known(job), self.desk.written(job))
        self._cells: Row = {}
        self._rows: dict[str, list[Row]] = {}
        self._numbers: dict[str, list[int]] = {}

    def entry(self) -> Entry:
        """The whole way; handed to :meth:`Session.run`."""
        self._begin(self._given or self._which_job())
        if self._new:
            self._session.say(f"New job {self._job}.")
        else:
            self._session.say(self._shown(self._known))
        self._intake()
        if self._decision() == "accepted":
            self._assessment()
            self._stages()
        return self._agreed(self._made())

    def _made(self) -> Entry:
        seen = {name: self._written.get(name, "") for name in self._cells}
        proposed = self._new and not self._given and self._job == self.desk.next_job
        return Entry(self._job, self._new, proposed, self._cells, seen, numbered(self.desk, self._job, self._rows))

    # -- the job and its row -------------------------------------------------------------------------------------

    def _which_job(self) -> str:
        open_jobs = self.desk.open_jobs[:12]
        column = JOBS["job_id"]
        about = "Enter begins a new job; the code of a job that is there continues it."
        options = f"open jobs, by number or code:\n{listed(open_jobs)}" if open_jobs else ""

        def read(text: str) -> str:
            by_number = text.isascii() and text.isdigit() and not self.desk.has_job(text)
            if by_number and not any(code.isdigit() for code in open_jobs) and 1 <= int(text) <= len(open_jobs):
                return open_jobs[int(text) - 1]
            return self.desk.rules.read(column, text)

        key, new = "jobs.job_id#1", self.desk.next_job
        return self._session.ask(Question(key, "job", read, new, True, f"{column.help} {about}", options))

    def _shown(self, cells: Row) -> str:
        return f"Job {self._job}: " + ", ".join(f"{name} {text}" for name, text in cells.items() if name != "job_id")

    def _fill(self, name: str, default: str = "", required: bool = False, known: Sequence[str] = ()) -> str:
        """Ask for a cell of the job unless it is known."""
        if name in self._cells or self._known.get(name):
            return self._cells.get(name) or self._known[name]
        if self._written.get(name):
            self._session.say(f"  {name} holds {quoted(self._written[name])}, which cannot be read.")
        default = default or self.desk.presets.defaults.get(name, "")
        question = self._asked.column("jobs", name, default=default, required=required, known=known)
        if answer := self._session.ask(question):
            self._cells[name] = answer
        return answer

    def _also(self, *known_at: KnownAt) -> None:
        for name in self.desk.presets.also_ask:
            if JOBS[name].known_at in known_at:
                self._fill(name)

    def _intake(self) -> None:
        self._fill("received_date", _today(self.desk.rules) if self._new else "", required=True)
        self._fill("intake_damage", required=True)
        self._fill("device_class")
        self._fill("board_family", known=self.desk.codes("jobs", "board_family"))
        self._fill("device_age_years")
        if self._fill("prior_rework") == "here":
            self._fill("previous_job_id", required=True, known=self.desk.codes("jobs", "job_id"))
        self._also(KnownAt.INTAKE)

    def _decision(self) -> str:
        decision = self._fill("decision", required=True)
        if decision == "declined":
            self._fill("decline_reason")
        return decision

    def _assessment(self) -> None:
        self._fill("underfill")
        self._fill("guessed_success_pct")
        who = self._fill(
            "technician_id", self.desk.only_technician, known=self.desk.codes("technicians", "technician_id")
        )
        self._describe("technicians", "technician_id", who, ("bga_experience_band",))
        donor = self._fill("donor_id", known=self._next_donor)
        self._describe("donors", "donor_id", donor, _DONOR)
        self._also(KnownAt.ASSESSMENT)

    @property
    def _next_donor(self) -> list[str]:
        """The next new donor's code, to be taken by its number; never by Enter, since not every job uses one."""
        return [self.desk.next_donor] if self.desk.next_donor else []

    def _describe(self, table: str, key: str, code: str, names: Sequence[str]) -> None:
        """Ask for the row of a donor or technician that the shop's list does not have yet."""
        there = {*self.desk.codes(table, key), *(row[key] for row in self._rows.get(table, []))}
        if not code or code in there or not self.desk.lists(table):
            return
        self._session.say(f"  {code} is not in {table}.csv yet; it will be added.")
        number = len(self._rows.get(table, [])) + 1
        answers = {name: self._session.ask(self._asked.column(table, name, number=number)) for name in names}
        self._add(table, number, {key: code, **{n: text for n, text in answers.items() if text}})

    def _add(self, table: str, number: int, row: Row) -> None:
        """Add a row; ``number`` stands in the keys of the questions about it."""
        self._rows.setdefault(table, []).append(row)
        self._numbers.setdefault(table, []).append(number)

    # -- the bench -----------------------------------------------------------------------------------------------

    def _stages(self) -> None:
        closed = bool(self._known.get("outcome"))
        for n in range(1, 40):
            stage = self._stage(n, closed)
            if stage == "work":
                before = str(self._tests_n + 1)
                work = Work(self._session, self._asked, self.desk.rules, self.desk.presets, n)
                for number, table, row in work.rows():
                    self._add(table, number, {**row, "before_test_no": before})
            elif stage == "boot_test":
                self._boot_test()
            else:
                if stage == "close":
                    self._closing()
                return

    def _stage(self, n: int, closed: bool) -> str:
        stages = tuple(stage for stage in STAGES if not (closed and stage == "close"))
        about = (
            "work: presets, sides and heat steps. boot_test: one try to boot. close: how it ended. write: no more now."
        )
        question = Question(
            f"stage#{n}",
            "now",
            lambda text: one_of(text, stages),
            "write",
            True,
            about,
            listed(stages),
        )
        return self._session.ask(question)

    @property
    def _tests_n(self) -> int:
        return self.desk.tests_n(self._job) + len(self._rows.get("boot_tests", []))

    def _boot_test(self) -> None:
        number = self._tests_n + 1
        about = f"boot test {number}, "

        def ask(name: str, default: str = "", **options: Any) -> str:
            asked = self._asked.column("boot_tests", name, number=number, default=default, about=about, **options)
            return self._session.ask(asked)

        row = {"test_no": str(number), "test_date": ask("test_date", _today(self.desk.rules))}
        row["change_made"] = ask("change_made", "first_install" if number == 1 else "")
        if row["change_made"] == "donor_changed":
            row["donor_id"] = ask("donor_id", known=self._next_donor)
            self._describe("donors", "donor_id", row["donor_id"], _DONOR)
        row["boot_result"] = ask("boot_result", required=True)
        row["bench_hours_so_far"] = ask("bench_hours_so_far")
        self._add("boot_tests", number, {name: text for name, text in row.items() if text})

    def _closing(self) -> None:
        outcome = self._fill("outcome", required=True)
        self._fill("closed_date", _today(self.desk.rules), required=True)
        hours = self._session.ask(self._asked.column("jobs", "bench_hours", default=self._known.get("bench_hours", "")))
        if hours and hours != self._known.get("bench_hours"):
            self._cells["bench_hours"] = hours
        if not self._tests_n:
            self._fill("first_boot_result", required=True)
        if outcome == "not_recovered":
            self._fill("loss_reversible", required=True)
            if self._fill("failure_cause"):
                self._fill("cause_evidence")
        self._also(KnownAt.CLOSE)

    # -- before it is written ------------------------------------------------------------------------------------

    def _agreed(self, entry: Entry) -> Entry:
        """Show the entry and what 'rework check' would say of it; go back to the answer at fault."""
        if not entry.touches:
            self._session.say("Nothing was entered.")
            raise LeftError
        problems = tried(self.desk.folder, entry, self.desk.rules.today)
        for problem in problems:
            self._session.say(replace(problem, line=0).line_text())  # it stands on no line yet
        if faults := faults_of(problems):
            if keys := self.keys_of(faults):
                raise BackError(keys)
            raise RefusedEntryError(faults)  # no answer of this sitting can mend it
        self._session.say(self._summary(entry))
        question = Question(
            "write#1", "write it down? (yes or no)", _yes_or_no, "yes", True, "no leaves the log untouched."
        )
        if self._session.ask(question) == "no":
            raise LeftError
        return entry

    def _summary(self, entry: Entry) -> str:
        lines = [self._shown({**entry.cells})]
        for table, rows in entry.rows.items():
            for row in rows:
                bench = table in ("chip_sides", "heat_steps")
                cells = " ".join(f"{name}={text}" for name, text in row.items())
                lines.append(f"  {row_text(table, dict(row))}" if bench else f"  {table}  {cells}")
        return "\n".join(lines)

    def keys_of(self, problems: Sequence[Problem]) -> list[str]:
        """Keys of the questions whose answers are at fault, and of those they are held against."""
        found = [key for p in problems for key in (*self._of_row(p), *_AGAINST.get(p.code, ()))]
        return [key for key in self._session.keys if key in found]

    def _of_row(self, problem: Problem) -> list[str]:
        """Keys of the cell at fault; where it has no question of its own, of its row, else of its table."""
        table = problem.file.removesuffix(".csv")
        asked = [key for key in self._session.keys if key.startswith(f"{table}.")]
        of_column = [key for key in asked if key.startswith(f"{table}.{problem.column}#")]
        if table == "jobs":
            return of_column
        at, numbers = problem.line - self.desk.first_new_line(table), self._numbers.get(table, [])
        of_row = [key for key in asked if 0 <= at < len(numbers) and key.endswith(f"#{numbers[at]}")]
        return [key for key in of_row if key in of_column] or of_row or of_column or asked


def _today(rules: Rules) -> str:
    return rules.today.isoformat()


def _yes_or_no(text: str) -> str:
    return {"y": "yes", "n": "no"}.get(text) or one_of(text, ("yes", "no"))
