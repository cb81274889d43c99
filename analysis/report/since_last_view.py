"""Section of the review on what the last one said would be watched, and on earlier months whose rows changed since."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from analysis.errors import ReworkError
from analysis.questions.period import month_name
from analysis.questions.review import Review
from analysis.questions.review_summary import Summary, read_summary, summary_text
from analysis.questions.since_last import MonthChange, changes_since, shares_jobs, summarise
from analysis.records.problems import plural
from analysis.report.page import Beside, Bullets, Grid, Prose
from analysis.report.to_watch import stands, to_watch
from analysis.report.wording import sentence

SUMMARY = "review-*.json"


@dataclass(frozen=True)
class Before:
    """The last review as this one finds it: its summary, or why there is none to use."""

    summary: Summary | None
    why_not: str
    changes: tuple[MonthChange, ...]


def earlier_summary(out: Path, month: str) -> Path | None:
    """Summary of the latest review before a month among the pages of a folder."""
    found = sorted(path for path in out.glob(SUMMARY) if path.stem.removeprefix("review-") < month)
    return found[-1] if found else None


def before(review: Review, path: str) -> Before:
    """Read what the last review left.

    Parameters
    ----------
    review : Review
        This month's.
    path : str
        The summary beside the last page; empty without one.
    """
    none = "No earlier review lies beside this page, so that there was nothing to watch yet."
    if not path:
        return Before(None, none, ())
    try:
        last = read_summary(Path(path))
    except ReworkError as error:
        return Before(None, f"{error.found} {error.todo}", ())
    if last is None:
        return Before(None, none, ())
    if last.month >= review.month:
        return Before(None, f"The summary given is of {month_name(last.month)} and not of an earlier month.", ())
    if not shares_jobs(last, review.log):
        return Before(
            None, "The earlier review beside this page is of another log: none of its jobs is in this one.", ()
        )
    return Before(last, "", changes_since(last, review.log))


def became_grid(review: Review, last: Before) -> Grid | Prose:
    """What was to be watched, and what became of it."""
    if last.summary is None:
        return Prose([last.why_not])
    of = month_name(last.summary.month)
    if not last.summary.watched:
        return Prose([f"The review of {of} named nothing to watch."])
    rows = [[each.words, each.stood, stands(review, each.key).words] for each in last.summary.watched]
    gap = review.month.ordinal - last.summary.month.ordinal
    under = f"Without a review in between: {plural(gap - 1, 'month')}." if gap > 1 else ""
    heads = [f"the review of {of} said", "it stood then", "it stands now"]
    return Grid("What was to be watched, and what became of it", heads, rows, under=under)


def changes_grid(review: Review, last: Before) -> Grid | Prose:
    """Earlier months whose rows were added, edited or taken away since the last review."""
    if last.summary is None:
        return Prose([""])
    of = month_name(last.summary.month)
    if not last.changes:
        return Prose([f"Nothing that the log held at the end of {of} has been changed since."])
    rows = [
        [each.month, str(each.added), str(each.changed), str(each.removed), _named(each.jobs)] for each in last.changes
    ]
    under = (
        f"Compared with the log as the review of {of} saw it; work that went on after that month is no change. The numbers of"
        " these months on this page may differ from those on the earlier page."
    )
    heads = ["month of the first boot", "jobs added", "jobs changed", "jobs taken away", "which"]
    return Grid("Earlier months changed in the log since then", heads, rows, numbers=(1, 2, 3), under=under)


def _named(jobs: tuple[str, ...]) -> str:
    """At most six codes, and how many more there are."""
    more = f" and {len(jobs) - 6} more" if len(jobs) > 6 else ""
    return ", ".join(jobs[:6]) + more


def next_time(review: Review) -> Beside:
    """What the next review will ask about, with the file that it reads."""
    items = to_watch(review)
    said = [f"{each.words} {sentence(each.stood)}." for each in items]
    shown = (
        Bullets(said) if said else Prose(["Nothing in the log stands out; the next review has nothing to ask about."])
    )
    return Beside(shown, ".json", summary_text(summarise(review.log, review.month, items, review.watching.charts)))
