"""Last section of the review: definitions, methods in plain words, limits, cautions."""

from __future__ import annotations

from analysis.cohort.outcomes import DEFINITIONS
from analysis.questions.review import Review
from analysis.questions.watch import PRIMARY_RATE, SHARED_RATE
from analysis.report.page import Bullets, Caution, Prose
from analysis.report.review_changed import STUDY
from analysis.report.wording import sentence

# False alarms a year that tests/studies/watch.py measured; a slow test holds the stated rates.
MEASURED_PRIMARY, MEASURED_SHARED = 0.235, 0.18


def definitions(review: Review) -> Prose:
    """The fixed definitions, as in every report that uses them."""
    return Prose([f"{sentence(name)}. {text}" for name, text in DEFINITIONS.items()])


def methods(review: Review) -> Bullets:
    """How the numbers were made, for a reader who wants to check."""
    settings = review.log.settings
    return Bullets(
        [
            "Rates: Wilson interval, 95 %; of a month not yet closed, the cumulative incidence with open jobs censored"
            " (Aalen–Johansen).",
            "Blanks: a blank is 'not recorded', never zero and never the worst. In a model a blank category is a level of its"
            " own and a blank number takes the middle of the recorded ones with a mark of its own, so that no job drops out;"
            " neither is told as a result. The n of a row counts the jobs of that level, or those with the number recorded.",
            "Expected number: logistic regression penalised by Jeffreys' prior on intake facts only (never donor, lot,"
            " technician or guess), made in the first month that allows one, again in the first month watched and each January,"
            " frozen in between, and fitted without periods in which the main watch gave an alarm; range from the exact distribution of a sum of unequal chances (Poisson-binomial), the model's own"
            " uncertainty included. By damage: Holm's method over the classes.",
            _watching(review),
            "Measures of the work: means against limits from drawing months out of the earlier jobs (Bayesian bootstrap),"
            " frozen with the year. Plain first-boot rate: p-chart of up to 24 months with exact binomial limits. Recovered by"
            " month received: exact limits from a model of its own, frozen alike.",
            "What changed: jobs of the alarm's days compared with one another, intake chances as an offset; what a group's change"
            " could account for by standardisation, test and interval by the profile of that cost (Venzon and Moolgavkar"
            " 1988); Holm's method over all groups compared.",
            "Causes: Wilson intervals; month against the year before by Fisher's exact test with Holm's method; trend of unknown"
            " causes by penalised logistic regression on time.",
            "First-boot model: the same kind of regression; profile-likelihood intervals; verdicts by Holm's method over all"
            " that is told; work before boot test 1 only, because a failure causes more passes and more heat.",
            "Bench hours: cumulative incidence with closing without success as the competing end (Aalen–Johansen); damage"
            " classes compared by Gray's test; rate ratios from a cause-specific Cox regression (Efron); whether they stay the same over time by a chi-square test, of so many degrees of freedom as a term has parts. Passes take hours"
            " themselves and are therefore not in that model. Neither is shown where over a tenth of the jobs that booted, or"
            " of those that ended without a boot, lack their hours.",
            "Attempts: share booted by each test as a cumulative incidence over test numbers, with loss, giving up and a"
            " client's stop as competing ends; jobs still open are censored at their last test. What went with a boot: one"
            " row a boot test, penalised logistic regression.",
            f"'Clear' and 'leaning': the adjusted 95 % and 80 % intervals leave out no difference. Curves stop where fewer than"
            f" {settings.minimum_at_risk} jobs remain; classes under {settings.minimum_class_n} jobs are not shown.",
        ]
    )


def _watching(review: Review) -> str:
    """The charts with their budgets, limits and random seeds."""
    about = (
        "Watching: risk-adjusted CUSUM of first boots on the expected chances; the main one looks for halved odds and owns a"
        f" chance of a false alarm of {PRIMARY_RATE:g} a year, all other charts share {SHARED_RATE:g} (in 200 simulated quiet"
        f" shops {MEASURED_PRIMARY:g} and {MEASURED_SHARED:g}, Monte Carlo error 0.03; {STUDY}). The beginning of a change:"
        " likelihood of every possible first job, averaged over sizes of the change."
    )
    charts = review.watching.charts
    if charts.primary is None:
        return about
    day, limit = charts.primary.limits[-1]
    return (
        f"{about} Limits by simulation with the model's uncertainty: the main one is {limit.value:.2f} since {day:%Y-%m-%d}, for"
        f" {limit.jobs} jobs a year, from {limit.draws} runs with random seed {limit.rng_seed} (Monte Carlo error of its rate"
        f" {limit.error:.3f}); all limits stand in the JSON file beside this page."
    )


def limits(review: Review) -> Bullets:
    """What this page cannot tell."""
    return Bullets(
        [
            "It describes the jobs this bench took. Declined jobs have no outcome, and clients of other benches differ.",
            "An association is not a cause. A cause written in the log may be a guess; its evidence stands beside it.",
            "One month is few jobs: most differences between two months are chance. In each month's section many numbers stand side"
            " by side; only those called 'clear' or 'leaning' take account of how many were looked at.",
            "An alarm may be false, at the rates stated, and the first in a list of explanations need not be the true one.",
            "Nothing here ranks people. Raw rates of technicians depend on who gets the hard boards.",
        ]
    )


def cautions(review: Review) -> Caution:
    """The usual cautions."""
    return Caution(
        [
            "Work on a client's only copy is mostly irreversible. Temperatures on this page are set-points of this bench's"
            " stations as logged, never a specification.",
            "Leaded solder and flux fume: extract the fume, wash hands, keep food away. Hot air and blades burn and cut."
            " Disconnect batteries before heat. Ground yourself against static.",
            "Job codes are pseudonyms; small numbers can still point to a client. Keep the page inside the shop. Comparing staff"
            " is subject to labour law.",
        ]
    )
