"""Section of the review: first boots against their expectation by damage, and how often a quiet month gets a word."""

from __future__ import annotations

from analysis.models.design import TooFew
from analysis.questions.expected import MonthExpected
from analysis.questions.expected_by_damage import Against
from analysis.questions.period import month_name
from analysis.questions.rates import trailing
from analysis.questions.review import Review
from analysis.questions.verdicts import Verdict
from analysis.records.problems import plural
from analysis.report.page import Grid, Prose
from analysis.report.wording import listed, number, percent, span

# Measured over 1200 quiet months of 200 simulated shops; a slow test holds them.
STUDY = "python -m tests.studies.expected --shops 200"
QUIET_CLEAR, QUIET_LEANING = 0.037, 0.104


def once_in(chance: float) -> str:
    """A chance in words: "about once in 12 months"."""
    if chance < 0.001:
        return "never" if chance < 1e-9 else "less than once in 1,000 months"
    return f"about once in {max(2, round(1 / chance))} months"


def quiet_words(now: MonthExpected) -> str:
    """How often a month like this one is called by each word though nothing has changed."""
    return (
        f"If nothing has changed, a month with these {now.n} boards is called 'clear' {once_in(now.quiet_clear)} and 'leaning'"
        f" {once_in(now.quiet_leaning)}, better and worse together."
    )


def words_of_the_verdict(review: Review) -> Prose:
    """The words as they are used for a month."""
    now = review.now
    if isinstance(now, TooFew) or not now.n:
        return Prose([""])
    return Prose(
        [
            f"{quiet_words(now)} That is worked out as if the model were exact; counted over 1200 quiet months of 200 simulated"
            f" shops, of all sizes and with models no more exact than a shop's, it was {once_in(QUIET_CLEAR)} and"
            f" {once_in(QUIET_LEANING)} ({STUDY}). A single 'leaning' month is therefore no alarm; the months are added up"
            " under 'Watching over time'."
        ]
    )


def _cells(each: Against | None) -> list[str]:
    if each is None:
        return ["–", "–", "–"]
    return [f"{each.observed} of {each.n}", number(each.expected, 1), span(each.low, each.high)]


def damage_grid(review: Review) -> Grid | Prose:
    """First boots against expectation by damage at intake."""
    rows = [
        [each.label, *_cells(each.month), *_cells(each.year), _word(each.verdict, each.year)]
        for each in review.expected_by_damage
    ]
    if not rows:
        return Prose(
            [
                "No expected number by damage yet: it takes ten boots and ten failures before a month to say what to expect."
            ]
        )
    span, covered = span_words(review)
    heads = [
        "damage",
        "this month",
        "expected",
        "range",
        span,
        "expected",
        "range",
        f"{span} say" if span == "twelve months" else f"word, {span}",
    ]
    looked = f" The word takes into account that {len(rows)} classes are looked at." if len(rows) > 1 else ""
    under = (
        f"Booted at the first test, against what boards like these should have given; range: what chance and the model's"
        f" uncertainty allow ({percent(0.95)}).{looked} One month"
        f" of one class is too few jobs for a word.{covered}"
    )
    caption = f"First boots against expectation by damage, {month_name(review.month)} and {span}"
    return Grid(caption, heads, rows, numbers=(1, 2, 3, 4, 5, 6), under=under)


def span_words(review: Review) -> tuple[str, str]:
    """Which months the sums hold: "twelve months", or since when a young log has an expected number; and what they lack."""
    begins = review.watching.charts.frozen[0].model.fitted_before
    start = trailing(review.month)[0].start_time
    span = "twelve months" if begins <= start else f"since {begins:%Y-%m-%d}"
    dates = review.cohort.first_boots["first_boot_date"]
    of_year = review.first_boot[1].proportion.n
    early = int((dates.ge(start) & dates.lt(begins)).sum())
    unknown = of_year - early - sum(each.year.n for each in review.expected_by_damage if each.year)
    lacks = [f"{early} tested before the expected model begins ({begins:%Y-%m-%d})"] if early else []
    lacks += (
        [f"{unknown} of a kind that its month's model did not know or took together with others"] if unknown else []
    )
    return (
        span,
        f" Not in the sums, of {plural(of_year, 'first boot')} in twelve months: {listed(lacks)}." if lacks else "",
    )


def _word(verdict: Verdict, year: Against | None) -> str:
    if verdict is Verdict.CANNOT_TELL or year is None:
        return "cannot tell from chance"
    return f"{verdict}: {'fewer' if year.observed < year.expected else 'more'} than expected"
