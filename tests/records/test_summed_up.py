"""Many findings of one kind are summed up below the list; lists for programs stay as long as they are."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from analysis.cli import main
from analysis.records.problems import Problem, Severity, summed_up

HEAD = "job_id,received_date,intake_damage,decision,outcome,closed_date,first_boot_result\n"


@pytest.fixture
def log(tmp_path) -> Path:
    """Six jobs closed without an outcome, and one with a word that is no code."""
    lines = [f"J{n},2024-03-0{n},drop,accepted,,2024-04-01,data_readable\n" for n in range(1, 7)]
    lines.append("J7,2024-03-07,cat,accepted,,,\n")
    (tmp_path / "jobs.csv").write_text(HEAD + "".join(lines), encoding="utf-8")
    return tmp_path


def test_like_faults_are_summed_up_after_the_list(log, capsys):
    assert main(["check", str(log)]) == 1
    out = capsys.readouterr().out.splitlines()
    sums = [at for at, line in enumerate(out) if line.startswith("In sum: ")]
    listed = [at for at, line in enumerate(out) if line.startswith("FAULT ")]
    assert len(listed) == 7
    assert [out[at] for at in sums] == [
        "In sum: 6 faults in jobs.csv outcome: outcome and closed_date both filled, or both blank while the job is"
        " open; jobs J1, J2, J3 …"
    ]
    assert sums[0] > listed[-1]


def test_like_warnings_are_one_line_below_the_faults(log, capsys):
    lost = [f"K{n},2024-03-0{n},drop,accepted,not_recovered,2024-04-01,not_tested\n" for n in range(1, 6)]
    text = (log / "jobs.csv").read_text(encoding="utf-8").removeprefix(HEAD)
    (log / "jobs.csv").write_text(HEAD + "".join(lost) + text, encoding="utf-8")
    assert main(["check", str(log)]) == 1
    out = capsys.readouterr().out.splitlines()
    kinds = [line.split(" ")[0] for line in out]
    warned = [at for at, line in enumerate(out) if "WARNING" in line]
    assert kinds.count("FAULT") == 7
    assert max(at for at, kind in enumerate(kinds) if kind == "FAULT") < min(warned)
    [reversible] = [line for line in out if "loss_reversible" in line]
    assert reversible.startswith(
        "5 WARNINGS jobs.csv | lines 2 (job K1), 3 (job K2), 4 (job K3) … | loss_reversible | found blank | rule: "
    )
    assert "--csv" in "".join(out)
    assert main(["check", str(log), "--json"]) == 1
    listed = [p for p in json.loads(capsys.readouterr().out) if p["column"] == "loss_reversible"]
    assert [p["line"] for p in listed] == [2, 3, 4, 5, 6]


def test_lists_for_programs_stay_complete(log, capsys, tmp_path_factory):
    table = tmp_path_factory.mktemp("out") / "faults.csv"
    assert main(["check", str(log), "--json", "--csv", str(table)]) == 1
    assert len(json.loads(capsys.readouterr().out)) == 7
    with table.open(encoding="utf-8", newline="") as file:
        assert len(list(csv.DictReader(file))) == 7


def test_faults_come_first_then_what_is_frequent():
    def found(severity: Severity, column: str, n: int) -> list[Problem]:
        return [Problem("jobs.csv", line, f"J{line}", column, "x", "a rule", "", severity, "code") for line in range(n)]

    warnings, faults = found(Severity.WARNING, "outcome", 9), found(Severity.FAULT, "decision", 5)
    lines = summed_up([*warnings, *faults, *found(Severity.FAULT, "donor_id", 4)], 5)
    assert [line.split(":")[0] for line in lines] == ["5 faults in jobs.csv decision", "9 warnings in jobs.csv outcome"]
