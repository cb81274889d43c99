"""The first screen of the monthly review: read in thirty seconds."""

from __future__ import annotations

from analysis.cohort.undatable import Undatable
from analysis.models.design import TooFew
from analysis.questions.causes import EVIDENCE, Causes
from analysis.questions.expected import MonthExpected
from analysis.questions.period import month_name
from analysis.questions.review import Review
from analysis.questions.verdicts import Verdict
from analysis.questions.watch import Signal
from analysis.records.problems import plural
from analysis.records.setting_aside import strays_told
from analysis.report.month_line import month_line
from analysis.report.page import UNFINISHED, FirstScreen, PageHead, Statement, jobs_left_out, jobs_up_to, mend_first
from analysis.report.to_watch import UNWRITTEN, suspect, to_watch
from analysis.report.watch_expected import once_in
from analysis.report.watch_words import watched_words
from analysis.report.wording import hours_of, listed, number, of, sentence, span

VERDICT_TEXT = {
    Verdict.CLEAR: "Clear: {direction} than expected",
    Verdict.LEANING: "Leaning: {direction} than expected",
    Verdict.CANNOT_TELL: "Cannot tell this month from chance",
}


DAYS_SHORT = 7  # common practice, no source


def page_head(review: Review) -> PageHead:
    """Title, shop and period of the page."""
    month = month_name(review.month)
    period = f"First boots and closings of {month}; {jobs_up_to(review.log, ' in the log')}"
    return PageHead.of(review.log, f"Monthly review, {month}", period)


def few_words(few: TooFew, what: str, rows: str = "tested jobs") -> str:
    """Why there is no model, and how many jobs it takes."""
    rarer = "success" if few.successes < few.failures else "failure"
    n = min(few.successes, few.failures)
    more = (
        f"At the pace so far about {few.further_jobs} more {rows} are needed."
        if few.further_jobs is not None
        else f"No {rarer} has been seen yet, so that the number needed is not known."
    )
    many = "successes" if rarer == "success" else "failures"
    return f"Too few {many} for {what}: {n} of {few.successes + few.failures} {rows}, and it takes 10. {more}"


def no_model_words(why: TooFew | Undatable, what: str, rows: str = "tested jobs") -> str:
    """Why there is no model: too few, or work that cannot be placed before a boot test."""
    if isinstance(why, TooFew):
        return few_words(why, what, rows)
    return undatable_words(why, what.removeprefix("a "))


def undatable_words(why: Undatable, what: str) -> str:
    """Why nothing is told of work, with the count: "No comparison of techniques: 30 jobs with several boot tests ..."."""
    return f"No {what}: {why.why}. {why.todo}"


def blank_preheat_words(jobs: int) -> list[str]:
    """What a blank preheat was taken for, where it was: a sentence, or none."""
    if not jobs:
        return []
    return [
        f"No preheat noted, counted as none: {plural(jobs, 'job')}, since this log never says that there was none. Some may"
        " only not be noted, and of failures more than of successes: an effect of preheat is never more than 'leaning'. Write 0 in"
        " preheat_c (heat_steps.csv) on installs without a preheat, on those of past jobs too: as soon as one says 0, every blank"
        " is not recorded."
    ]


def _first_boot(review: Review) -> Statement:
    month = review.first_boot[0].proportion
    if not month.n:
        year = review.first_boot[1].proportion
        return Statement(
            "First boot",
            "No job had its first boot test this month.",
            f"Twelve months: {of(year)} booted."
            if year.n
            else "There was no first boot in the twelve months before either.",
        )
    if isinstance(review.now, TooFew):
        says = f"{month.x} of {plural(month.n, 'job')} booted at the first test. The log is too young to say what was to be expected."
        return Statement("First boot", says, "Before this month: " + few_words(review.now, "an expected number"))
    return _against_expected(review.now)


def _against_expected(now: MonthExpected) -> Statement:
    if not now.n:
        return Statement("First boot", "No job of this month is of a kind that the log had seen before.", "")
    verdict = VERDICT_TEXT[now.verdict].format(direction=now.direction)
    says = (
        f"{now.observed} of {plural(now.n, 'job')} booted at the first test; {number(now.expected, 1)} were to be expected"
        f" from boards like these. {verdict}."
    )
    detail = (
        f"Chance and the model's uncertainty give {span(now.low, now.high)} of {now.n}. Boards alike in: {listed(list(now.facts)) or 'nothing that could be told apart yet'}; from {plural(now.model_n, 'job')}"
        f" first tested before {now.fitted_before:%Y-%m-%d}."
    )
    if now.verdict is not Verdict.CANNOT_TELL:
        rate = now.quiet_clear if now.verdict is Verdict.CLEAR else now.quiet_leaning
        detail += f" With nothing changed, a month like this is called '{now.verdict}', fewer or more, {once_in(rate)}."
    if now.unseen:
        detail += f" {plural(now.unseen, 'job')} of a kind not seen before left out."
    return Statement("First boot", says, detail)


def _evidence(causes: Causes) -> str:
    row = causes.biggest
    if row is None:
        return ""
    kinds = [f"{n} {kind}" for kind, n in zip(EVIDENCE, row.by_evidence, strict=True) if n]
    return f"Evidence: {listed(kinds)}."


def _cause(review: Review) -> Statement:
    causes = review.causes_month
    if not causes.n:
        return Statement("Biggest cause of failure", "Among the jobs used, no failed one was closed this month.")
    row = causes.biggest
    without = f"A cause is missing or was not found for {causes.unexplained} of {plural(causes.n, 'failure')}."
    unexplained = without if causes.unexplained else "Every failure has a cause written."
    if row is None:
        no_cause = (
            f"No cause is known for {'any of ' if causes.n > 1 else ''}{plural(causes.n, 'failure')} closed this month."
        )
        return Statement("Biggest cause of failure", no_cause, unexplained if causes.n > 1 else "")
    if row.n == 1 and causes.n > 1:
        says = (
            f"No cause stands out: {plural(causes.n, 'failure')} closed this month, no two with the same named cause."
        )
        spent = hours_of(causes.hours, causes.hours_known, causes.n)
        return Statement("Biggest cause of failure", says, f"{sentence(spent)} in all. {unexplained}")
    spent = hours_of(row.hours, row.hours_known, row.n)
    says = f"{sentence(row.label)}: {row.n} of {plural(causes.n, 'failure')} closed this month, {spent}."
    tied = [other.label for other in causes.rows if other.n == row.n and other.code not in (row.code, "other")]
    tied = [label for label in tied if label not in ("not found", "no cause written")]
    if tied:
        says += f" As many: {listed(tied[:3])}."
    return Statement("Biggest cause of failure", says, f"{_evidence(causes)} {unexplained}")


def _watch(review: Review) -> Statement:
    """The most pressing of what is to be watched, with what an alarm rests on."""
    items = to_watch(review)
    if not items:
        return Statement("One thing to watch", "Nothing in the log stands out; keep entering jobs.", "")
    # What is not written has its count in the words themselves.
    stood = [] if items[0].key == UNWRITTEN else [f"{sentence(items[0].stood)}."]
    return Statement("One thing to watch", items[0].words, " ".join([*_why(review), *stood]))


def _why(review: Review) -> list[str]:
    """Tell of an alarm of the month, and how sure the first suspect is."""
    looked, found = review.watching.looked, suspect(review)
    told = []
    if looked is not None and looked.now and looked.signal is not None:
        told.append(_alarm(looked.signal))
    if looked is not None and found is not None:
        told.append(
            f"{found.failed} of the {found.n} jobs with it first tested from {looked.first:%Y-%m-%d} on failed ({found.verdict}):"
            " a place to look, not a finding."
        )
    return told


def _alarm(signal: Signal) -> str:
    if signal.going_on_since is not None:
        since = f"the fall of {watched_words(signal)} told by the alarm of {signal.going_on_since:%Y-%m-%d} is still going on"
    else:
        since = f"{watched_words(signal)} fell, probably since about {signal.began:%Y-%m-%d}"
    return f"Alarm on {signal.day:%Y-%m-%d}: {since}."


def _left_out(review: Review) -> Statement:
    faulty = review.log.jobs_set_aside
    aside = (
        f"{plural(faulty, 'job')} set aside because of faults; 'rework check' lists them."
        if faulty
        else "No job set aside for faults."
    )
    first = " ".join(filter(None, (aside, strays_told(review.log.strays_left_out))))
    return jobs_left_out(review.cohort.ledger, "no first-boot result to count", first)


def first_screen(review: Review) -> FirstScreen:
    """The month in numbers, successes against expectation, the biggest cause, one thing to watch, jobs left out.

    Where faults set many jobs aside, that comes first: the rates of what is left may be far off.
    """
    usual = [month_line(review), _first_boot(review), _cause(review), _watch(review), _left_out(review)]
    return FirstScreen([*mend_first(review.log), *_unfinished(review), *usual])


def _unfinished(review: Review) -> list[Statement]:
    """That the log ends a week or more before its month does: a page of a few days reads like one of a bad month."""
    last, end = review.log.last_date, review.month.end_time
    if last != last or (end - last).days < DAYS_SHORT:
        return []
    says = f"The log's last entry is of {last:%Y-%m-%d}: what {month_name(review.month)} brought later is not on this page."
    return [Statement(UNFINISHED, says, "'rework review' without a month takes the latest that is.")]
