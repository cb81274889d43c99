"""A verdict does not stand that was made by passing over lines, leaving consents blank, or choosing lines."""

from __future__ import annotations

from analysis.questions.trial_outcome import trial_outcome
from analysis.questions.verdicts import Verdict
from tests.questions.test_trial import CLASSES, a_plan, filled, helps, no_matter, run, write_lines


def test_a_verdict_made_by_passing_over_failures_does_not_stand(tmp_path):
    """Every second failure of one way has its line left blank: reported, and no verdict from it."""
    path, log = run(a_plan(60), tmp_path, no_matter, jobs=80)
    fair = trial_outcome(path, log)
    lost = set(log.tables["jobs"].loc[log.tables["jobs"]["first_boot_result"].eq("short"), "job_id"])
    lines = filled(path)
    passed = [line for line in lines if line["job_id"] in lost and line["way"] == "preheat"]
    for line in passed:
        line |= {"job_id": "", "written_consent": ""}
    write_lines(path, lines)
    bent = trial_outcome(path, log)
    assert fair.skipped == 0
    assert bent.skipped == len(passed) == bent.not_counted[0] > 5
    assert bent.stage == "end"
    assert bent.p < 0.05
    assert bent.strict_p > 0.2
    assert bent.verdict is Verdict.CANNOT_TELL


def test_where_all_went_by_the_rules_the_plain_p_decides(tmp_path):
    for wins in (helps, no_matter):
        fair = trial_outcome(*run(a_plan(), tmp_path, wins))
        assert (fair.skipped, fair.out_of_order, fair.not_counted) == (0, 0, (0, 0))
        assert fair.strict_p == fair.p


def test_a_verdict_made_by_leaving_consents_blank_does_not_stand(tmp_path):
    path, log = run(a_plan(60), tmp_path, no_matter, jobs=80)
    lost = set(log.tables["jobs"].loc[log.tables["jobs"]["first_boot_result"].eq("short"), "job_id"])
    lines = filled(path)
    for line in lines:
        if line["job_id"] in lost and line["way"] == "preheat":
            line["written_consent"] = ""
    write_lines(path, lines)
    bent = trial_outcome(path, log)
    assert bent.p < 0.05
    assert bent.strict_p > 0.2
    assert bent.verdict is Verdict.CANNOT_TELL


def test_a_verdict_made_by_choosing_lines_does_not_stand(tmp_path):
    """Within each class the jobs that booted are moved to the lines of one way."""
    path, log = run(a_plan(), tmp_path, no_matter)
    won = log.tables["jobs"].set_index("job_id")["first_boot_result"].eq("data_readable")
    lines = filled(path)
    for damage in CLASSES:
        own = [line for line in lines if line["job_id"] and line["damage_class"] == damage]
        jobs = sorted((line["job_id"] for line in own), key=lambda job: (not won[job], job))
        for line, job in zip(sorted(own, key=lambda line: line["way"] == "none"), jobs, strict=True):
            line["job_id"] = job
    write_lines(path, lines)
    bent = trial_outcome(path, log)
    assert bent.out_of_order > 5
    assert bent.p < 0.001
    assert bent.strict_p > 0.2
    assert bent.verdict is Verdict.CANNOT_TELL
