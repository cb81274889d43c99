"""A sheet written from a valid log, in any order and with any of its columns, gives the same log again."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from analysis.records.dictionary import BY_NAME, JOBS, TABLES
from analysis.records.importing.workbook import workbook_sheets
from tests.records.importing.messy_workbook import ods_bytes, xlsx_bytes
from tests.records.importing.sheets import asked, replaced, run, table

DEMO = Path(__file__).resolve().parents[3] / "data_demo"
NEEDED = {"jobs": {"job_id", "received_date", "intake_damage", "decision"}, "heat_steps": {"step_type"}}
Rows = list[dict[str, str]]


def demo(name: str) -> Rows:
    with (DEMO / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


ALL = {listed.name: demo(listed.name) for listed in TABLES}
CODES = [row["job_id"] for row in ALL["jobs"]]


def of_jobs(codes: set[str]) -> dict[str, Rows]:
    """What the demo log says of some jobs, with all donors and technicians."""
    own = {name: [row for row in rows if row.get("job_id", "") in codes] for name, rows in ALL.items()}
    used = {row["donor_id"] for name in ("jobs", "boot_tests") for row in own[name]}
    donors = [row for row in ALL["donors"] if row["donor_id"] in used]
    return own | {"donors": donors, "technicians": ALL["technicians"]}


def columns_of(name: str, draw) -> list[str]:
    """The key and what is needed, and any of the other columns, in any order."""
    listed = BY_NAME[name]
    needed = [c for c in listed.names if c in listed.key or c in NEEDED.get(name, ())]
    free = [c for c in listed.names if c not in needed]
    fewest = 1 if len(needed) == 1 else 0  # a sheet with nothing but codes of donors may be anything: asked
    return draw(st.permutations([*needed, *draw(st.lists(st.sampled_from(free), min_size=fewest, unique=True))]))


@st.composite
def logs(draw) -> dict[str, list[list[str]]]:
    """Sheets, each with its headings first."""
    rows = of_jobs(set(draw(st.lists(st.sampled_from(CODES), min_size=8, max_size=25, unique=True))))
    kept = ["jobs", *(name for name in rows if name != "jobs" and rows[name] and draw(st.booleans()))]
    out = {}
    for name in draw(st.permutations(kept)):
        head = columns_of(name, draw)
        out[name] = [head, *([row[column] for column in head] for row in draw(st.permutations(rows[name])))]
    return out


def written(log: dict[str, list[list[str]]]) -> dict[str, set[tuple[tuple[str, str], ...]]]:
    """Rows of each table as what is filled in them."""
    return {
        name: {tuple(sorted((c, text) for c, text in zip(head, row, strict=True) if text)) for row in rows}
        for name, (head, *rows) in log.items()
    }


def imported(folder: Path) -> dict[str, set[tuple[tuple[str, str], ...]]]:
    return {t.name: {tuple(sorted(row.items())) for row in table(folder, t.name)} for t in TABLES}


@settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    phases=[Phase.generate],  # each example is a log on the disk: too slow to be shrunk
    suppress_health_check=[HealthCheck.too_slow],
)
@given(log=logs())
def test_a_sheet_a_table_gives_the_same_log(tmp_path_factory, log):
    folder = tmp_path_factory.mktemp("round")
    for name, rows in log.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, delimiter=";").writerows(rows)
    sources = [folder / f"{name}.csv" for name in log]
    done = run(sources, folder / "log")
    assert asked(done) <= {("", "work_before_test_1")}
    if done.questions:
        replaced(folder / "log" / "import.toml", ('work_before_test_1 = "?"', 'work_before_test_1 = "no"'))
        done = run(sources, folder / "log")
    wanted = written(log)
    assert {name: rows for name, rows in imported(folder / "log").items() if name in wanted} == wanted
    assert not done.placement.aside
    again = run(sources, folder / "log")
    assert (again.written, again.merged.changes) == ((), [])


def one_wide_sheet(codes: list[str]) -> list[list[str]]:
    """A row a job: its own columns, its first two tests and the processor's lower side."""
    rows = of_jobs(set(codes))
    own = [name for name in JOBS.names if name not in ("technician_id", "donor_id")]
    tests = {(row["job_id"], row["test_no"]): row for row in rows["boot_tests"]}
    sides = {
        (r["job_id"], r["chip_role"], r["side"]): r for r in rows["chip_sides"] if r["before_test_no"] in ("", "1")
    }
    head = [*own, "Test 1 result", "Test 1 date", "Test 2 result", "CPU lower clean passes", "CPU lower pads lost"]
    out = [head]
    for row in rows["jobs"]:
        job = row["job_id"]
        first, second = tests.get((job, "1"), {}), tests.get((job, "2"), {})
        side = sides.get((job, "processor", "lower"), {})
        cells = [first.get("boot_result", ""), first.get("test_date", ""), second.get("boot_result", "")]
        cells += [side.get("clean_passes_n", ""), side.get("pads_lost_n", "")]
        out.append([*(row[name] for name in own), *cells])
    return out


@pytest.mark.parametrize("ending", ["csv", "xlsx", "ods"])
@settings(max_examples=8, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_one_wide_sheet_gives_the_same_rows(tmp_path_factory, ending, data):
    codes = data.draw(st.lists(st.sampled_from(CODES), min_size=8, max_size=25, unique=True))
    rows = one_wide_sheet(codes)
    order = data.draw(st.permutations(range(len(rows[0]))))
    rows = [[row[at] for at in order] for row in rows]
    folder = tmp_path_factory.mktemp("wide")
    path = folder / f"wide.{ending}"
    if ending == "csv":
        path.write_text("\n".join(",".join(row) for row in rows) + "\n", encoding="utf-8")
    else:
        make = xlsx_bytes if ending == "xlsx" else ods_bytes
        path.write_bytes(make({"wide": [[text or None for text in row] for row in rows]}))
        assert len(workbook_sheets(path)) == 1
    first = run(path, folder / "log")
    assert asked(first) <= {("", "work_before_test_1")}
    if first.questions:
        replaced(folder / "log" / "import.toml", ('work_before_test_1 = "?"', 'work_before_test_1 = "yes"'))
        run(path, folder / "log")
    head, *body = rows
    wanted = [{name: text for name, text in zip(head, row, strict=True) if text and name in JOBS.names} for row in body]
    assert table(folder / "log", "jobs") == wanted
    tests = {(r["job_id"], r["test_no"]): r.get("boot_result", "") for r in table(folder / "log", "boot_tests")}
    passes = {r["job_id"]: r.get("clean_passes_n", "") for r in table(folder / "log", "chip_sides")}
    for row in body:
        said = dict(zip(head, row, strict=True))
        assert tests.get((said["job_id"], "1"), "") == said["Test 1 result"]
        assert tests.get((said["job_id"], "2"), "") == said["Test 2 result"]
        assert passes.get(said["job_id"], "") == said["CPU lower clean passes"]
