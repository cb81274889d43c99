"""A deliberately broken copy of the demo: every planted fault is found at its cell, none is invented."""

from __future__ import annotations

import csv
import io
import shutil
from pathlib import Path

from analysis.cli import main
from analysis.records.check import check_log
from analysis.records.problems import Severity

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


class Copy:
    """A copy of the demo whose cells can be overwritten by row."""

    def __init__(self, folder: Path) -> None:
        shutil.copytree(DEMO, folder)
        self.folder, self.planted = folder, []
        self.rows = {p.stem: list(csv.reader(io.StringIO(p.read_text(encoding="utf-8")))) for p in folder.glob("*.csv")}

    def first(self, table: str, **wanted: str) -> int:
        """First row (0 is the first under the headings) not used yet that has the wanted cells."""
        heads = self.rows[table][0]
        used = {(t, line) for t, line, _, _ in self.planted}
        for i, row in enumerate(self.rows[table][1:]):
            cells = dict(zip(heads, row, strict=True))
            if (table, i + 2) not in used and all(cells[k] == v or (v == "*" and cells[k]) for k, v in wanted.items()):
                return i
        raise LookupError(wanted)

    def plant(self, table: str, row: int, column: str, text: str, code: str, at: str = "") -> None:
        """Overwrite a cell and remember what must be reported, in which column."""
        self.rows[table][row + 1][self.rows[table][0].index(column)] = text
        self.planted.append((table, row + 2, at or column, code))

    def save(self) -> None:
        for name, rows in self.rows.items():
            with (self.folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as out:
                csv.writer(out, lineterminator="\n").writerows(rows)


def broken(folder: Path) -> Copy:
    copy = Copy(folder)
    jobs = {"decision": "accepted", "previous_job_id": ""}
    recovered = jobs | {"outcome": "recovered", "prior_rework": "none"}
    failed = jobs | {"outcome": "not_recovered", "prior_rework": "none", "failure_cause": "*", "cause_evidence": ""}
    copy.plant("jobs", copy.first("jobs", **recovered), "bench_hours", "81", "range")
    copy.plant("jobs", copy.first("jobs", **recovered), "received_date", "03/04/2025", "date")
    copy.plant("jobs", copy.first("jobs", **recovered), "intake_damage", "watre", "code")
    copy.plant("jobs", copy.first("jobs", **recovered), "guessed_success_pct", "100", "range")
    copy.plant("jobs", copy.first("jobs", **recovered), "technician_id", "T9", "unknown-key")
    copy.plant("jobs", copy.first("jobs", **recovered), "failure_cause", "poor_joint", "cause-unasked")
    copy.plant("jobs", copy.first("jobs", **recovered), "board_family", "someone@example.org", "personal-data")
    copy.plant("jobs", copy.first("jobs", **failed), "loss_reversible", "", "reversible-missing")
    copy.plant("jobs", copy.first("jobs", **failed), "outcome", "", "half-closed")
    copy.plant("jobs", copy.first("jobs", decision="declined"), "bench_hours", "3", "work-without-job")
    copy.plant("heat_steps", copy.first("heat_steps", step_type="reball"), "set_temp_c", "572", "range")
    copy.plant("heat_steps", copy.first("heat_steps", step_type="residue"), "step_no", "0", "range")
    copy.plant("heat_steps", copy.first("heat_steps", step_type="removal"), "set_temp_c", "360°C", "number")
    copy.plant(
        "chip_sides", copy.first("chip_sides", side="lower", pads_lost_n="0"), "pads_lost_at", "removal", "pads-lost-at"
    )
    copy.plant(
        "chip_sides", copy.first("chip_sides", chip_role="storage", side="lower"), "chip_source", "new", "chip-source"
    )
    copy.plant("chip_sides", copy.first("chip_sides", side="upper"), "clean_passes_n", "12", "range")
    copy.plant("chip_sides", copy.first("chip_sides", side="landing"), "blade_used", "perhaps", "yes-no")
    copy.plant("donors", copy.first("donors", known_good="untested"), "prior_installs_n", "-1", "range")
    copy.plant("technicians", 4, "bga_experience_band", "long", "code")
    copy.save()
    return copy


def test_every_planted_fault_is_found_and_none_invented(tmp_path, capsys):
    copy = broken(tmp_path / "log")
    report = check_log(copy.folder)
    found = sorted((p.file.removesuffix(".csv"), p.line, p.column, p.code) for p in report.problems)
    assert found == sorted(copy.planted)
    warned = [p.code for p in report.problems if p.severity is not Severity.FAULT]
    assert sorted(warned) == ["cause-unasked", "reversible-missing"], "an old job may lack the one and have the other"
    assert main(["check", str(copy.folder)]) == 1
    assert f"{len(copy.planted) - len(warned)} faults" in capsys.readouterr().out
