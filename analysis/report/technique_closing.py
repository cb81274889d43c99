"""Last section of the techniques' page: definitions, methods, limits, cautions."""

from __future__ import annotations

from analysis.cohort.outcomes import DEFINITIONS
from analysis.questions.technique_answers import TechniqueAnswers
from analysis.questions.technique_groups import USES_BOTH
from analysis.questions.technique_samples import BY_FORMULA, EVEN
from analysis.questions.technique_twin import SHOPS
from analysis.questions.techniques import COPIES, DRAWS, UNLIKE
from analysis.questions.twin import shops_for
from analysis.records.problems import plural
from analysis.report.page import Bullets, Caution, Prose
from analysis.report.wording import number, percent, sentence


def definitions(page: TechniqueAnswers) -> Prose:
    """The fixed definition that the page uses."""
    name = next(iter(DEFINITIONS))
    return Prose([f"{sentence(name)}. {DEFINITIONS[name]}"])


def methods(page: TechniqueAnswers) -> Bullets:
    """How the numbers were made."""
    smallest = number(page.log.settings.smallest_difference_points)
    return Bullets(
        [
            "On like boards: each job counts by how evenly it could have had either way (overlap weights); the chances under"
            " either way are averaged over these jobs (standardisation). Doubly robust: the same corrected by what the first"
            " model left unexplained. Both logistic models carry a weak normal prior (SD 2.5 log odds; 5 for technician, damage"
            " and time, which is a smooth curve and quarters; 1 for board family).",
            f"Refused: unless at least two technicians have {USES_BOTH} jobs or more of each way, either way has"
            f" {page.log.settings.minimum_class_n} jobs, the rarer outcome ten, and the weighted jobs amount to as many. 'Could"
            f" have gone either way': chance of the first way between {percent(EVEN[0])} and {percent(EVEN[1])}. Never more than"
            f" 'cannot tell' where the weighted jobs still differ by over {number(UNLIKE, 1)} standard deviations in technician,"
            " quarter or damage at intake.",
            f"Intervals: {COPIES} completed tables, in each {DRAWS} bootstrap samples that keep each technician's jobs, pooled by"
            " Rubin's rules; technicians with fewer than five jobs are drawn together"
            f" (from {number(BY_FORMULA)} jobs compared on, the formula that many such samples come to). Never narrower than by the variance that two"
            " equal ways would have (that of the score test), since a small arm without a failure looks the same in every sample."
            " Blanks in what is adjusted for take the value of a similar job (predictive mean matching); which way"
            " was taken is never filled in. 'Lost to blanks': how much of what the jobs could have told the blanks took away.",
            "Words: 'clear' and 'leaning' by Holm's method over all declared contrasts; over those of the shop's own too, for"
            " the latter. Curves and pads have families of their own.",
            f"What this log could have shown: {shops_for(SHOPS, page.found.ledger.rows_used)} twins of the shop at each of several sizes, with its own jobs and ways; outcomes"
            " are drawn anew with a known difference, and the same comparison is made; 'clear' after Holm's method. For settings a"
            " best one in the middle is planted, the log odds falling with the square of the distance.",
            f"Further first boots: until {smallest} points would be clear in four of five logs, after Holm's method where nothing"
            " else is, as for the twins; from the precision that these jobs gave, never from the difference observed. Of the"
            " coming jobs as large a share is taken to get either way as so far.",
            "Heat: natural spline with three degrees of freedom, penalised logistic regression, adjusted in the order damage,"
            " technician, time and so on as far as the failures allow (one degree of freedom for five); blanks a level of their own."
            " Last such step of the processor before boot test 1.",
            "A plan: lots in blocks of two or four within damage class; Mantel–Haenszel difference; P by drawing the lots again"
            " within damage class.",
            "Only work before boot test 1 is used: a failure causes more passes and more heat. Work that names no boot test is taken"
            " as work before test 1 on jobs with one test or none"
            f" ({plural(page.found.taken_as_first, 'job')} here), and the job left out where it had more tests; where that would take away over a tenth of the failed first tests,"
            " only donors are compared. So work done after a"
            " failed only test and noted without its test passes for a cause of that failure: note the test.",
        ]
    )


def limits(page: TechniqueAnswers) -> Bullets:
    """What the page cannot tell."""
    return Bullets(
        [
            "Likeness goes as far as the log: whoever chose a way may have seen something that no column holds. A lot would settle"
            " it; no calculation does.",
            "The answer holds for boards that could have gone either way at this bench, not for those that always get the same.",
            "First boot is one outcome. A way may cost hours, donors or pads and still look equal here.",
            "'Cannot tell' is not 'no difference'. What this log could have shown stands beside it.",
            "Nothing here ranks people.",
            *_by_lot(page),
        ]
    )


def _by_lot(page: TechniqueAnswers) -> list[str]:
    """What counts on the page stand for where only some first boots are compared."""
    share = page.found.share
    if share == 1:
        return []
    return [
        f"Only {percent(share)} of this log's first boots are compared, taken by lot. Every count of jobs here is of those,"
        " what a refusal says is lacking and further first boots included: of a way that few jobs got, the whole log may hold"
        " enough. To compare such a way, keep the jobs of those years or shops in a folder of their own."
    ]


def cautions(page: TechniqueAnswers) -> Caution:
    """The usual cautions."""
    return Caution(
        [
            "Temperatures and times on this page are set-points of this bench's stations as logged, never a specification; the makers'"
            " data sheets prevail. Work on a client's only copy is mostly irreversible.",
            "Leaded solder and flux fume: extract the fume, wash hands, keep food away. Hot air and blades burn and cut. Disconnect"
            " batteries before heat. Ground yourself against static.",
            "Job codes are pseudonyms; small numbers can still point to a client. Keep the page inside the shop. Comparing how people"
            " work is subject to labour law.",
        ]
    )
