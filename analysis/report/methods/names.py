"""What the pages say in plain words, and the name that the literature has for it."""

from __future__ import annotations

from analysis.questions.process_measures import DRAWS as MONTHS_DRAWN
from analysis.questions.watch import DRAWS, MONTHLY_CHARTS, PRIMARY_RATE, SHARED_RATE
from analysis.report.page import Grid
from analysis.report.wording import percent


def names_grid() -> Grid:
    """Charts, tests and figures by section of the pages; rates and numbers of draws from the code that uses them."""
    rows = [
        [
            "Review, Watching over time: the first chart",
            f"risk-adjusted CUSUM for halved odds of a first boot; an alarm in {percent(PRIMARY_RATE)} of quiet years;"
            f" limits from {DRAWS} simulated runs",
        ],
        [
            "the other charts",
            f"CUSUM charts and {MONTHLY_CHARTS} monthly ones together; an alarm in {percent(SHARED_RATE)} of quiet years",
        ],
        ["monthly rate", "p-chart with exact binomial or Poisson-binomial limits"],
        ["How the work went", f"means against limits of {MONTHS_DRAWN} resampled months (Bayesian bootstrap)"],
        ["since when", "likelihood of a change point"],
        ["expected, with its range", "case-mix standardised count; Poisson-binomial distribution"],
        ["What went with first boot", "Firth logistic regression; profile intervals; penalised likelihood-ratio tests"],
        [
            "verdict words",
            "Holm-adjusted 95 and 80 % intervals; of people the posterior chance of lying above the mean",
        ],
        [
            "How long it takes",
            "Aalen–Johansen curves; Gray's test; cause-specific Cox regression; score test of its trend",
        ],
        ["Another attempt", "life table and person-period regression over boot test numbers"],
        ["Accept or decline: how far to trust the chances", "calibration plot, Brier and log score, AUC after DeLong"],
        ["Techniques: side by side", "overlap-weighted standardised risk difference; augmented estimator; E-value"],
        ["Techniques: heat settings", "dose–response curve with natural spline"],
        ["Techniques: where pads are lost", "Poisson or negative binomial regression"],
        ["Technicians: more than chance?", "funnel plot with exact limits"],
        ["Technicians: beside the average", "random intercepts with shrinkage; posterior ranks"],
        ["what this log could have shown", "smallest planted difference found in a simulated twin of the shop"],
    ]
    return Grid("Words of the pages and names in the literature", ["on the pages", "name"], rows)
