"""No lot is drawn for a difference that the log rules out already."""

from __future__ import annotations

import dataclasses

from analysis.cli import DEMO
from analysis.cohort.features import build_cohort
from analysis.cohort.technique_rows import technique_rows
from analysis.questions.contrasts import DECLARED
from analysis.questions.techniques import Effort, Told, techniques
from analysis.questions.trial_plan import next_trial
from analysis.records.log import read_log


def test_a_contrast_whose_interval_leaves_nothing_worth_acting_on_is_not_drawn_for():
    log = read_log(DEMO).without_faulty_jobs()
    found = technique_rows(log, build_cohort(log))
    answers = techniques(found, DECLARED, effort=Effort(2, 20, 20))

    def planned(answers, smallest=10.0):
        return [each.contrast.name for each in next_trial(found, answers, log.last_date, smallest).worth]

    told = {answer.contrast.name: answer for answer in answers if isinstance(answer, Told)}
    name = next(name for name in planned(answers) if name in told)
    sure = dataclasses.replace(told[name].difference, estimate=0.01, se=0.02)  # −3 to +5 points

    def with_it(**changes):
        known = dataclasses.replace(told[name], difference=sure, how_unknown=False, blanks_as_cold=False, **changes)
        return tuple(known if answer is told[name] else answer for answer in answers)

    assert name not in planned(with_it(unlike=()))
    assert name in planned(with_it(unlike=()), smallest=4.0)
    assert name in planned(with_it(unlike=("quarter",)))  # the interval of unlike boards rules nothing out
