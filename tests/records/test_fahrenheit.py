"""Temperatures written in Fahrenheit are told of, in range or not, and settings in °C are not."""

from __future__ import annotations

import pytest

from analysis.records.check import check_log
from analysis.records.problems import Severity, summed_up
from tests.files import TODAY, base, found, write

# set temperatures of three kinds of step in °C: common practice, no source
SETTINGS = (("residue", 230), ("reball", 300), ("install", 330))


def shop(jobs: int, in_fahrenheit: int = 0, spread: int = 10):
    """A shop with three steps a job, set within some degrees; the last jobs' values in Fahrenheit."""
    tables = base()
    tables["jobs"] = [
        tables["jobs"][0] | {"job_id": f"K-{n}", "first_boot_result": "data_readable"} for n in range(jobs)
    ]
    tables["chip_sides"], tables["boot_tests"] = [], []
    tables["heat_steps"] = []
    for n in range(jobs):
        for step, (kind, usual) in enumerate(SETTINGS, 1):
            value = usual - spread + 2 * spread * (n % 5) / 4
            written = value * 1.8 + 32 if n >= jobs - in_fahrenheit else value
            row = {"job_id": f"K-{n}", "step_no": str(step), "step_type": kind, "chip_role": "processor"}
            tables["heat_steps"].append(row | {"set_temp_c": f"{written:.0f}", "preheat_c": "120"})
    return tables


def test_a_shop_in_celsius_is_told_of_nothing(tmp_path):
    assert found(write(tmp_path, shop(30, spread=40))) == []


def test_one_value_in_range_is_told_of_with_its_celsius(tmp_path):
    tables = shop(20)
    tables["heat_steps"][0]["set_temp_c"] = "446"
    (problem,) = found(write(tmp_path, tables))
    assert (problem.severity, problem.code, problem.line) == (Severity.WARNING, "fahrenheit", 2)
    assert "from Fahrenheit it would be 230 °C" in problem.found


@pytest.mark.parametrize(("kind", "value"), [(0, "300"), (0, "380"), (1, "440"), (2, "446"), (2, "478")])
def test_a_hotter_setting_that_is_no_fahrenheit_passes(tmp_path, kind, value):
    tables = shop(20)
    tables["heat_steps"][kind]["set_temp_c"] = value
    assert found(write(tmp_path, tables)) == []


@pytest.mark.parametrize("in_fahrenheit", [3, 12, 20])
def test_every_value_of_a_job_in_fahrenheit_is_told_of(tmp_path, in_fahrenheit):
    tables = shop(20, in_fahrenheit)
    wrong = {2 + 3 * job + step for job in range(20 - in_fahrenheit, 20) for step in range(3)}
    told = {p.line for p in found(write(tmp_path, tables)) if p.column == "set_temp_c"}
    assert wrong <= told
    if in_fahrenheit == 3:
        assert told == wrong


def test_the_sum_names_fahrenheit(tmp_path):
    lines = summed_up(check_log(write(tmp_path, shop(20, 20)), TODAY).problems, 5)
    of_settings = [line for line in lines if "set_temp_c" in line]
    assert len(of_settings) == 2  # out of range, and in range
    assert all("Fahrenheit" in line for line in of_settings)
