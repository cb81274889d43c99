"""What has to be asked of a sheet as a whole, since no heading of it says so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from analysis.records.importing.mapping import ASKED, OPEN
from analysis.records.importing.partly import ask_of_parts
from analysis.records.importing.proposal import Proposal, Remark

_WORK = ("chip_sides", "heat_steps")
_SIDE = 'the side meant where a heading names the processor only: "lower" (faces the board) or "upper"'
_DONOR = (
    'no column has donor codes: "yes" if each job that was taken has a donor of its own (it is called D- and the job'
    ' code), "no" to leave donor facts out'
)
_DECISION = 'no column says which jobs were taken: "accepted" if all jobs of the sheet were'
_BEFORE = (
    'was all this work done before boot test 1? "yes", or "no" if some came later (then it is undated, and kept out of'
    " the first-boot model where a job had several tests); a column with later work may say so by itself:"
    ' before_test = 2. "no" costs the models of heat, passes and pads, and every comparison of techniques, where such'
    " jobs are over a tenth of the failed first boots"
)


def ask_of_sheets(proposals: Sequence[Proposal]) -> list[Proposal]:
    """Add the questions on whole sheets to their proposals."""
    tested_again = any(_has_later_tests(proposal) for proposal in proposals)
    return ask_of_parts([_asked(proposal, tested_again) for proposal in proposals])


def _has_later_tests(proposal: Proposal) -> bool:
    """Whether a sheet may hold second boot tests; without any, all work came before the first."""
    sheet, headed = proposal.sheet, proposal.headed
    later = {c.heading for c in sheet.columns if c.to.startswith("boot_tests.") and c.test not in (0, 1)}
    filled = {heading for at, heading in headed.headings.items() if any(at in row for row in headed.data.values())}
    return sheet.row == "boot_tests" or (sheet.row == "jobs" and bool(later & filled))


def _asked(proposal: Proposal, tested_again: bool) -> Proposal:
    row = proposal.sheet.row
    if row in _WORK:
        dated = any(c.to == f"{row}.before_test_no" for c in proposal.sheet.columns)
        return _with_questions(proposal, (("work_before_test_1", tested_again and not dated, _BEFORE),))
    return _asked_of_jobs(proposal, tested_again) if row == "jobs" else proposal


def _with_questions(proposal: Proposal, questions: Sequence[tuple[str, bool, str]]) -> Proposal:
    """Ask for keys of a sheet, each with whether it is needed and the words of its question."""
    sheet, remarks = proposal.sheet, dict(proposal.remarks)
    for key, needed, text in questions:
        asked: dict[str, Any] = {}
        if needed and getattr(sheet, key) in ("", OPEN):
            asked = {key: OPEN}
            remarks["", key] = Remark(ASKED, text)
        elif getattr(sheet, key) == OPEN:  # asked before a column was said to be something else
            asked = {key: ""}
        sheet = replace(sheet, **asked)
    return replace(proposal, sheet=sheet, remarks=remarks)


def _asked_of_jobs(proposal: Proposal, tested_again: bool) -> Proposal:
    columns = proposal.sheet.columns
    targets = {c.to for c in columns}
    work = [c for c in columns if c.taken and c.table.name in _WORK]
    sideless = any(c.chip == "processor" and not c.side and c.table.name == "chip_sides" for c in work)
    donor_facts = any(to.startswith("donors.") for to in targets) and "jobs.donor_id" not in targets
    undated = tested_again and any(not c.before_test for c in work)
    asked = _with_questions(
        proposal,
        (
            ("processor_side", sideless, _SIDE),
            ("own_donor", donor_facts, _DONOR),
            ("work_before_test_1", undated, _BEFORE),
        ),
    )
    fixed = asked.sheet.fixed
    if "jobs.decision" in targets and fixed.get("jobs.decision") == OPEN:  # asked before a column was said to hold it
        rest = {name: said for name, said in fixed.items() if name != "jobs.decision"}
        return replace(asked, sheet=replace(asked.sheet, fixed=rest))
    if "jobs.decision" in targets or fixed.get("jobs.decision", OPEN) != OPEN:
        return asked
    remarks = {**asked.remarks, ("", "fixed.jobs.decision"): Remark(ASKED, _DECISION)}
    return replace(asked, sheet=replace(asked.sheet, fixed={**fixed, "jobs.decision": OPEN}), remarks=remarks)
