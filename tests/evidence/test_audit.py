"""Every number of the sheet counted again by an independent path: the csv module and the steps of the guides."""

from __future__ import annotations

import csv
import json
import math
import re
from pathlib import Path
from statistics import NormalDist

import pandas as pd
import pytest
from bs4 import BeautifulSoup

from analysis.questions.evidence import build_evidence
from analysis.questions.evidence_span import half_year
from tests.evidence.sealed import copy_of, sheet
from tests.tables import closed, log_of

Z = NormalDist().inv_cdf(0.975)


def wilson(x, n):
    """Step 2 of the guide of counts."""
    half = Z * math.sqrt(x * (n - x) / n + Z**2 / 4)
    return (x + Z**2 / 2 - half) / (n + Z**2), (x + Z**2 / 2 + half) / (n + Z**2)


def rate(x, n):
    """As the sheet writes it; no interval end of a rate is a half, but a rate may be."""
    low, high = wilson(x, n)
    return f"{(200 * x + n) // (2 * n)}%", f"{100 * low:.0f}–{100 * high:.0f}%"


class Auditor:
    """COUNTIFS over the recount file."""

    def __init__(self, path):
        with path.open(encoding="utf-8", newline="") as handle:
            self.rows = list(csv.DictReader(handle))

    def count(self, **wanted):
        """Rows in the period for which every column holds what is wanted (a test, or a text)."""
        wanted = {"in_period": "yes"} | wanted
        return sum(all(w(r[c]) if callable(w) else r[c] == w for c, w in wanted.items()) for r in self.rows)

    @property
    def accepted(self):
        endings = ("recovered", "partial", "locked", "not_recovered", "stopped", "open")
        return sum(self.count(outcome=each) for each in endings)

    @property
    def closed(self):
        return self.accepted - self.count(outcome="open")


def filled(text):
    return text != ""


def by_day(auditor, last):
    """Step 1 of the guide of times: shares recovered, with likely range, and not yet closed by each day."""
    left, share, q, r, s, t = 1.0, 0.0, 0.0, 0.0, 0.0, 0.0
    out = {}
    for day in range(last + 1):
        at_risk = auditor.count(days=lambda d, day=day: d != "" and int(d) >= day)
        ended = auditor.count(days=str(day), lost_for_good=filled)
        won = auditor.count(days=str(day), outcome="recovered")
        if not at_risk:
            break
        before = left
        left *= 1 - ended / at_risk
        share += before * won / at_risk
        step = ended / (at_risk * (at_risk - ended)) if at_risk > ended else 0.0
        q += step
        r += step * share
        s += step * share**2 + before**2 * (at_risk - won) * won / at_risk**3 + 2 * share * before * won / at_risk**2
        t += before * won / at_risk**2
        variance = share**2 * q - 2 * share * r + s - 2 * share * t
        low = high = float("nan")
        if 0 < share < 1:
            w = Z * math.sqrt(variance) / abs(share * math.log(share))
            low, high = share ** math.exp(w), share ** math.exp(-w)
        out[day] = (at_risk, left, share, low, high)
    return out


def read(path):
    """A page without the signs that only keep lines from breaking."""
    text = path.read_text(encoding="utf-8").replace("\u2060", "").replace("\u00a0", " ")
    return BeautifulSoup(text, "html5lib")


@pytest.fixture(scope="module")
def auditor(demo_sheet):
    return Auditor(demo_sheet.parent / "recount.csv")


@pytest.fixture(scope="module")
def page(demo_sheet):
    soup = read(demo_sheet)
    soup.find("details").decompose()  # the facts for machines are no witness
    return soup


def table(page, caption):
    found = next(t for t in page.find_all("table") if t.caption.get_text() == caption)
    return {row.th.get_text(): [td.get_text() for td in row.find_all("td")] for row in found.tbody.find_all("tr")}


def test_every_device_received_step_1(page, auditor):
    shown = {name.removeprefix("– "): int(cells[0]) for name, cells in table(page, "Every device received").items()}
    outcomes = {
        "declined by the bench": "declined",
        "withdrawn by the owner before work": "withdrawn",
        "came again; counted with the first time": "repeat",
        "data recovered": "recovered",
        "only part of the data recovered": "partial",
        "starts, but no code to unlock it": "locked",
        "not recovered": "not_recovered",
        "stopped by the owner": "stopped",
        "still open": "open",
    }
    want = {name: auditor.count(outcome=code) for name, code in outcomes.items()}
    assert shown == want | {"Received": auditor.count(), "Accepted": auditor.accepted}
    assert sum(n for name, n in shown.items() if name != "Received") - auditor.accepted == auditor.count()


def test_rates_and_ranges_step_2(page, auditor):
    says = [tag.get_text() for tag in page.select(".first .says")]
    details = [tag.get_text() for tag in page.select(".first .detail")]
    won, closed, stopped = auditor.count(outcome="recovered"), auditor.closed, auditor.count(outcome="stopped")
    share, likely = rate(won, closed)
    assert says[0] == f"{won} of {closed} closed jobs: {share}"
    without, without_likely = rate(won, closed - stopped)
    assert details[0].startswith(f"Likely range {likely}.")
    assert details[0].endswith(f"{won} of {closed - stopped}: {without}, likely range {without_likely}.")
    yes, no = auditor.count(first_boot="yes"), auditor.count(first_boot="no")
    share, likely = rate(yes, yes + no)
    assert says[1] == f"{yes} of {yes + no} boards started at the first try: {share}"
    assert details[1].startswith(f"Likely range {likely}.")
    untested = auditor.count(first_boot="stopped_untested")
    bounds = [f"{100 * x / (yes + no + untested):.0f}%" for x in (yes, yes + untested)]
    assert details[1].endswith(
        f"Stopped before any try: {untested}; had all of these failed or all started, it would be "
        f"{bounds[0]} or {bounds[1]}."
    )


def test_by_damage_step_3(page, auditor):
    shown = table(page, "By damage")
    names = {
        "drop": "Drop",
        "liquid": "Liquid",
        "bend_or_snap": "Bent or broken board",
        "power_fault": "Power fault",
        "heat": "Heat",
        "none_seen": "No damage seen",
    }
    classes = {row["class_on_sheet"] for row in auditor.rows}
    assert {code for each in classes for code in each.split("+")} == set(names)
    for each in classes:
        cells = []
        for column, test in (("outcome", "recovered"), ("first_boot", "yes")):
            won = auditor.count(class_on_sheet=each, **{column: test})
            n = (
                auditor.count(class_on_sheet=each, lost_for_good=filled)
                if column == "outcome"
                else won + auditor.count(class_on_sheet=each, first_boot="no")
            )
            share, likely = rate(won, n)
            assert n >= 10
            cells.append(f"{won} of {n}: {share} ({likely})")
        assert shown.pop(" + ".join(names[code] for code in each.split("+"))) == cells
    assert list(shown) == ["All"]


def test_time_step_1_of_times(page, auditor):
    text = next(li.get_text() for li in page.find_all("li") if li.get_text().startswith("Time:"))
    days = by_day(auditor, 120)
    closed = [int(row["days"]) for row in auditor.rows if row["in_period"] == "yes" and row["lost_for_good"]]
    for day in (14, 30, 60):
        at_risk, _, share, low, high = days[day]
        known = at_risk + sum(each < day for each in closed)
        assert at_risk >= 10 or known >= max(10, 0.9 * auditor.accepted)
        want = f"within {day} days of receipt in {100 * share:.0f}% of accepted jobs"
        assert f"{want} (likely range {100 * low:.0f}–{100 * high:.0f}%)" in text
    assert days[60][0] < 10  # told, since every job was followed to its end
    half = min(day for day, (_, left, *_) in days.items() if left <= 0.5)
    assert f"closed, one way or the other, within {half} days" in text
    still_open = auditor.count(outcome="open")
    told = f"; those still open ({still_open}) count" if still_open else ", all closed."
    assert f"{auditor.accepted} accepted jobs{told}" in text


GUIDES = Path(__file__).resolve().parents[2] / "notebooks" / "guide"
COUNTS = (GUIDES / "audit_by_spreadsheet.md").read_text(encoding="utf-8")
TIMES = (GUIDES / "audit_times_and_ledger.md").read_text(encoding="utf-8")
NAMES = {
    "A": "id",
    "B": "month",
    "C": "in_period",
    "D": "damage_class",
    "E": "class_on_sheet",
    "F": "outcome",
    "G": "first_boot",
    "H": "lost_for_good",
    "I": "fee_basis",
    "J": "days",
}


class Spreadsheet:
    """The few functions that the guides' formulas use, as a spreadsheet computes them."""

    def __init__(self, rows):
        self.rows = rows
        self.cells = {}

    def countifs(self, *pairs):
        """COUNTIFS over whole columns: a text or number, ">=" with a number, or "<>" for not blank."""

        def holds(cell, want):
            if want == "<>":
                return cell != ""
            if str(want).startswith(">="):
                return cell != "" and float(cell) >= float(str(want)[2:])
            return cell == str(want)

        tests = [(NAMES[pairs[at]], pairs[at + 1]) for at in range(0, len(pairs), 2)]
        return sum(all(holds(row[name], want) for name, want in tests) for row in self.rows)

    def value(self, formula):
        """A formula of a guide, put into Python."""
        text = re.sub(r'">="&(\w+)', r"'>=' + str(\1)", formula.removeprefix("=")).replace("^", "**")
        text = re.sub(r"\b([A-J]):\1\b", r"'\1'", text)
        text = re.sub(r"\b([K-Y]\d+)\b", r"cell('\1')", text)
        scope = {
            "COUNTIFS": self.countifs,
            "SQRT": math.sqrt,
            "EXP": math.exp,
            "LN": math.log,
            "ABS": abs,
            "NORM_S_INV": NormalDist().inv_cdf,
            "IF": lambda test, a, b: a() if test else b(),
            "cell": self.cells.get,
            "__builtins__": {"str": str},
        }
        text = text.replace("NORM.S.INV", "NORM_S_INV")
        text = re.sub(r"^IF\((.*?),(.*),(.*)\)$", r"IF(\1, lambda: \2, lambda: \3)", text)
        return eval(text, scope)


def test_the_formulas_printed_in_the_guides_give_the_sheets_times_and_ranges(page, auditor):
    formulas = dict(re.findall(r"^\| ([M-Y]) \| `(=[^`]+)`", TIMES, re.M))
    assert list(formulas) == list("MNOPQRSTUVWXY")
    sheet_ = Spreadsheet(auditor.rows)
    sheet_.cells |= {"O1": 1.0} | {f"{c}1": 0.0 for c in "PSTUV"}
    shown = next(li.get_text() for li in page.find_all("li") if li.get_text().startswith("Time:"))
    for row in range(2, 33):
        sheet_.cells[f"L{row}"] = row - 2
        for column in "MNQOPRSTUVW":
            sheet_.cells[f"{column}{row}"] = sheet_.value(moved(formulas[column], row))
        if row - 2 in (14, 30):
            low, high = (100 * sheet_.value(moved(formulas[column], row)) for column in "XY")
            share = 100 * sheet_.cells[f"P{row}"]
            within = f"within {row - 2} days of receipt in {share:.0f}% of accepted jobs"
            want = f"{within} (likely range {low:.0f}–{high:.0f}%)"
            assert want in shown
    assert "`=1-0.025^(1/M2)`" in TIMES  # while nobody's data were recovered
    nobody = evidence_of_days([0] * 3 + [20] * 12)
    assert nobody[14][0] == 0
    assert nobody[14][1:] == pytest.approx((0, 1 - 0.025 ** (1 / 12)), abs=1e-12)
    wilson_ends = re.findall(r"^(=\(M1.*)$", COUNTS, re.M)
    sheet_.cells |= {"M1": 88.0, "M2": 124.0, "M3": Z}
    assert [sheet_.value(each) for each in wilson_ends] == pytest.approx(wilson(88, 124), abs=1e-12)


def evidence_of_days(days):
    """Share recovered by each day with its range, for jobs closed without recovery after so many days."""
    rows = [
        closed(
            f"J-{at}",
            "not_recovered",
            first_boot_result="short",
            received_date="2026-01-05",
            closed_date=str(pd.Timestamp("2026-01-05") + pd.Timedelta(days=n))[:10],
        )
        for at, n in enumerate(days)
    ]
    counted = build_evidence(log_of(jobs=rows), half_year("2026H1"), pd.Timestamp("2026-06-30"))
    return {day: rest for day, *rest in counted.turnaround.recovered}


def moved(formula, row):
    """A formula of row 2 copied down to another row."""
    return re.sub(r"\b([K-Y])([12])\b", lambda m: f"{m[1]}{int(m[2]) + row - 2}", formula)


@pytest.mark.parametrize("heading", [1, 2, 3, 4])
def test_the_counts_printed_in_the_guide_can_be_made(auditor, heading):
    text = COUNTS.split(f"## {heading}.")[1].split("\n## ")[0]
    formulas = re.findall(r"`(=COUNTIFS[^`]*)`", text)
    assert formulas
    for formula in formulas:
        assert Spreadsheet(auditor.rows).value(formula) > 0


def test_losses_and_fees_step_4(page, auditor):
    loss, fee = (
        next(li.get_text() for li in page.find_all("li") if li.get_text().startswith(head))
        for head in ("Data lost for good", "How the bench is paid")
    )
    arrival = auditor.count(lost_for_good="on_arrival")
    lost = auditor.count(lost_for_good="yes") + arrival
    unknown = auditor.count(lost_for_good="not_recorded")
    assert unknown
    low, high = (rate(x, auditor.closed)[0] for x in (lost, lost + unknown))
    assert f"Between {low} and {high} of {auditor.closed} closed jobs;" in loss
    assert f"Recorded as lost: {lost}; not recorded for jobs without success: {unknown}." in loss
    assert (
        f"lost before arrival, as the bench wrote: {arrival}; counted as lost in the attempt: {lost - arrival}." in loss
    )
    assert "likely range" not in loss
    numbers = [int(n) for n in re.findall(r" (\d+)[;.]", fee)]
    counts = {code: auditor.count(fee_basis=code) for code in ("no_result_no_fee", "flat", "staged", "not_recorded")}
    assert numbers == [counts["no_result_no_fee"], counts["staged"], counts["flat"] + counts["not_recorded"]]
    assert sum(numbers) == auditor.accepted


def test_chosen_months_carry_the_whole_log_step_5(demo_log, tmp_path):
    file = tmp_path / "r.csv"
    path = sheet(copy_of(demo_log, tmp_path / "log"), tmp_path, first="2023-10", last="2024-06", recount_file=file)
    auditor = Auditor(file)
    every = {"in_period": filled}
    won = auditor.count(outcome="recovered", **every)
    closed = auditor.count(lost_for_good=filled, **every)
    yes, no = (auditor.count(first_boot=code, **every) for code in ("yes", "no"))
    page = read(path)
    says = [tag.get_text() for tag in page.select(".first .says")]
    detail = page.select(".first .detail")[1].get_text()
    share, likely = rate(won, closed)
    assert says[1] == f"Data recovered in {won} of {closed} closed jobs: {share}"
    assert f"Likely range {likely}" in detail
    assert f"First start: {yes} of {yes + no}: {rate(yes, yes + no)[0]}" in detail
    assert "chosen by the bench" in page.select_one(".period").get_text()


def test_the_counts_are_those_of_jobs_csv_read_by_hand(page, demo_log):
    """Not even the recount file is trusted: decisions and closed jobs straight from the log's own text."""
    with (demo_log / "jobs.csv").open(encoding="utf-8", newline="") as handle:
        jobs = list(csv.DictReader(handle))
    mine = [row for row in jobs if "2024-01" <= row["received_date"][:7] <= "2024-06"]
    shown = {name: int(cells[0]) for name, cells in table(page, "Every device received").items()}
    assert shown["Received"] == len(mine)
    assert shown["– declined by the bench"] == sum(row["decision"] == "declined" for row in mine)
    accepted = [row for row in mine if row["decision"] == "accepted"]
    repeats = [row for row in accepted if row["prior_rework"] == "here" and row["previous_job_id"]]
    assert shown["– came again; counted with the first time"] == len(repeats)
    assert shown["Accepted"] == len(accepted) - len(repeats)
    chained = {row["previous_job_id"] for row in jobs}
    alone = [row for row in accepted if row not in repeats and row["job_id"] not in chained]
    again = [row for row in accepted if row not in repeats and row["job_id"] in chained]
    ended = [row for row in alone if row["closed_date"] and row["closed_date"] <= "2024-09-30"]
    recovered = sum(row["outcome"] == "recovered" for row in ended)
    assert recovered <= shown["– data recovered"] <= recovered + len(again)
    stopped = sum(row["outcome"] == "stopped_by_client" for row in ended)
    assert stopped <= shown["– stopped by the owner"] <= stopped + len(again)


def test_the_facts_for_machines_say_what_the_page_says(demo_sheet, auditor):
    soup = BeautifulSoup(demo_sheet.read_text(encoding="utf-8"), "html5lib")
    found = json.loads(soup.select_one("code.sheet-facts").get_text())
    assert found["totals"]["closed"] == auditor.closed
    assert found["totals"]["recovered"] == auditor.count(outcome="recovered")
    assert found["until"] == "2024-09-30"


def test_the_recount_file_is_redacted_and_its_order_says_nothing(auditor, demo_log):
    text = (demo_log / "jobs.csv").read_text(encoding="utf-8")
    codes = set(re.findall(r"\b(?:J|D|T|FAM)-?\w+\b", text))
    cells = {cell for row in auditor.rows for cell in row.values()}
    assert not cells & codes
    names = [row["id"] for row in auditor.rows]
    assert names == sorted(names)
    assert len(set(names)) == len(names) == auditor.count()
