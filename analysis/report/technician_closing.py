"""Last section of the technicians' pages: definitions, methods, limits, cautions."""

from __future__ import annotations

from analysis.cohort.outcomes import DEFINITIONS
from analysis.questions.technicians_answers import TechnicianAnswers
from analysis.questions.technicians_twin import MANY_JOBS
from analysis.report.page import Bullets, Caution, Prose
from analysis.report.wording import sentence

FAIRNESS = (
    "Comparing staff: tell people beforehand what is counted and why, show each person their own figures first, and listen"
    " to what the log does not hold. Labour law, works councils and data-protection law may forbid the comparison or require"
    " consent; ask before you make it. Nothing here is a ground for pay, bonus or dismissal: it is for learning from each other."
)
PSEUDONYMS = (
    "Codes are pseudonyms, not anonymity: everyone at the bench knows who they are. Keep the page inside the shop."
)


def definitions(answers: TechnicianAnswers) -> Prose:
    """The fixed definition of what is compared."""
    name = "first-boot success"
    return Prose([f"{sentence(name)}. {DEFINITIONS[name]}"])


def methods(answers: TechnicianAnswers) -> Bullets:
    """How the numbers were made, for a reader who wants to check."""
    return Bullets(
        [
            "Mix of boards: logistic regression penalised by Jeffreys' prior on intake facts, with a column for each technician,"
            " so that what a kind of board costs is learned from jobs of the same person. Never donor, lot, guess or work done."
            " One degree of freedom per five of the rarer outcome for intake facts; technicians' own columns stand outside that.",
            "Technicians: random intercepts on top of that mix, each compared with the mean of all; SD between technicians"
            " half-normal with scale 0.5 in log odds, integrated on a grid with Laplace; the mix's own uncertainty is carried on"
            " by the delta method. Verdicts by the posterior chance of lying above that mean.",
            "Funnel: exact Poisson-binomial limits of each person's own jobs at the bench's average.",
            "What the log could show: 200 logs with this bench's own jobs, technicians and mix, outcomes drawn anew; the whole"
            " comparison is made on each. The smallest distances above and below are read off logistic curves through six planted"
            f" sizes, 50 logs each. From {MANY_JOBS} jobs on each person's estimate is drawn instead of jobs.",
            "Learning: natural spline with two degrees of freedom over earlier accepted jobs, with a column for each technician"
            " and each quarter of a year, and the same intake facts; penalised likelihood-ratio test; what it could have shown by the noncentral chi-squared distribution.",
            f"Technicians with fewer than {answers.minimum} first boots are not shown (minimum_technician_n in bench.toml). Their"
            " jobs, and those without a technician, help to learn the mix only.",
            "Two technicians are compared only where the difference of their own columns can be told from the board facts, with"
            " or without room for those; the largest set of such people is compared, the others are named. Their jobs, too,"
            " help to learn the mix only.",
        ]
    )


def limits(answers: TechnicianAnswers) -> Bullets:
    """What this page cannot tell."""
    return Bullets(
        [
            "Only what the log holds of a board is put side by side. If one person is given the hopeless ones by an eye for"
            " them that no column records, that person looks worse than they are. A fact left blank puts a hard board among the"
            " average ones: the more blanks, the more of a good person's advantage is lost.",
            "The 95 % intervals are a little too narrow where facts are left blank: in 200 simulated benches of some 520 jobs, 2 to"
            " 8 % of each fact blank, they held 92 of 100 technicians, and someone was marked clear more often than without blanks."
            " Filling the blanks in by chance, over and over, did not mend it; writing the facts down does.",
            "Whoever declines more of the hard boards has easier ones left; a bad donor lot or a worn station hits whoever used"
            " it. Look at the review's charts before looking at people.",
            "A job counts for the technician written on it, also where two worked on it.",
            "First boot is one outcome. Care, speed, teaching others and taking on hard boards are not in it.",
        ]
    )


def cautions(answers: TechnicianAnswers) -> Caution:
    """Fairness and law in comparing staff, and the usual cautions."""
    return Caution(
        [
            FAIRNESS,
            PSEUDONYMS,
            "Work on a client's only copy is mostly irreversible: no figure here is a reason to hurry, or to take a board on for"
            " the sake of a rate.",
        ]
    )
