"""The technicians' page and the private page of the demo, the answer key, privacy, little data, and the command."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Callable
from types import SimpleNamespace

import pytest
from bs4 import BeautifulSoup

from analysis.cli import DEMO, main
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.errors import ReworkError
from analysis.models.intervals import wilson
from analysis.questions.technicians import compare_technicians
from analysis.questions.technicians_answers import TechnicianAnswers, build_technicians, technician_answers
from analysis.questions.technicians_learning import EARLIER
from analysis.questions.technicians_private import private_comparison, private_view
from analysis.questions.verdicts import Verdict
from analysis.records.log import Log
from analysis.records.settings import Settings
from analysis.report import technician_closing, technician_page, technician_private, technician_words
from analysis.report.technician_pages import publish_technician, publish_technicians
from analysis.report.wording import interval
from tests.report.gates import assert_page_behaves, assert_page_is_sound, visible_text
from tests.report.guide_quotes import assert_quoted_rightly
from tests.tables import closed, log_of

PAGE: list[Callable[[TechnicianAnswers], object]] = [
    technician_page.first_screen,
    technician_page.technicians_ledger,
    technician_page.mix_picture,
    technician_page.mix_grid,
    technician_page.adjusted_words,
    technician_page.verdict_grid,
    technician_page.verdict_words,
    technician_page.funnel_picture,
    technician_page.funnel_grid,
    technician_page.rank_grid,
    technician_page.learning_picture,
    technician_page.learning_words,
    technician_closing.definitions,
    technician_closing.methods,
    technician_closing.limits,
    technician_closing.cautions,
]
OWN = [technician_private.private_screen, technician_private.damage_grid, technician_private.time_grid]


def answers_of(log: Log) -> TechnicianAnswers:
    return technician_answers(log, shops=4)


def shown(log: Log) -> str:
    answers = answers_of(log)
    technician_page.page_head(answers)
    html = "".join(section(answers)._repr_html_() for section in PAGE)  # type: ignore[attr-defined]
    for stray in (">nan", " nan", "None", "<NA>", ">inf", " inf"):
        assert stray not in html
    return html


def test_rates_that_do_not_differ_are_one_rate_and_each_has_its_n():
    def people(*counts: tuple[int, int, float, float]) -> SimpleNamespace:
        of = [SimpleNamespace(raw=wilson(x, n), adjusted=SimpleNamespace(mean=m), hardness=h) for x, n, m, h in counts]
        return SimpleNamespace(people=of)

    alike, differ = people((2, 3, 0.67, 0.6), (4, 6, 0.67, 0.6)), people((3, 5, 0.5, 0.4), (5, 6, 0.7, 0.6))
    assert technician_words.mix_words(alike) == "Raw rates are all 67 % (n = 9); on the same boards all are at 67 %."
    assert technician_words.mix_words(differ) == (
        "Raw rates lie between 60 % (3 of 5 first boots) and 83 % (5 of 6 first boots); on the same boards, between"
        " 50 % and 70 %."
    )
    assert "of each set of boards" in technician_words.boards_words(alike)
    assert "of the hardest" in technician_words.boards_words(differ)


@pytest.fixture(scope="module")
def answers():
    return build_technicians(DEMO)


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    return publish_technicians(DEMO, tmp_path_factory.mktemp("technicians"), lambda text: None)


@pytest.fixture(scope="module")
def private(tmp_path_factory):
    return publish_technician(DEMO, "T2", tmp_path_factory.mktemp("technician"), lambda text: None)


def soup_of(path):
    return BeautifulSoup(path.read_text(encoding="utf-8"), "html5lib")


def test_the_pages_are_sound(page, private):
    assert_page_is_sound(page)
    assert_page_is_sound(private)


def test_the_guides_quote_the_page_rightly(page):
    assert_quoted_rightly(page)


@pytest.mark.browser
def test_the_pages_behave_in_a_browser(page, private, running_browser):
    assert_page_behaves(page, running_browser)
    assert_page_behaves(private, running_browser)


def test_the_first_sentence_says_whether_they_can_be_told_apart(page, answers):
    soup = soup_of(page)
    labels = [tag.get_text() for tag in soup.select(".first .label")]
    assert labels == ["Can they be told apart?", "What the boards did", "What this log could show", "Jobs left out"]
    first = soup.select_one(".first .says").get_text()
    assert re.match(r"They cannot be told apart|They can hardly be told apart|Told apart by this log", first)
    for word in ("posterior", "log odds", "prior", "poisson", "laplace", "intercept", "likelihood", "e-value", "holm"):
        assert word not in soup.select_one(".first").get_text().lower()


def test_people_stand_in_the_order_of_their_codes_everywhere(page):
    for table in soup_of(page).find_all("table"):
        codes = [head.get_text() for head in table.select("tbody th") if re.fullmatch(r"T\d", head.get_text())]
        assert codes == sorted(codes)


def test_beside_every_cannot_tell_stands_what_the_log_could_have_shown(page, answers):
    table = next(t for t in soup_of(page).find_all("table") if t.caption.get_text().startswith("Verdict on each"))
    rows = [[cell.get_text() for cell in row.find_all(["th", "td"])] for row in table.select("tbody tr")]
    assert [row[0] for row in rows] == list(answers.found.fit.names)
    for row in rows:
        if row[1].replace("\xa0", " ") == "cannot tell":
            assert re.fullmatch(r"\+\d+ or −\d+", row[-1])


def test_no_colour_tells_good_from_bad(page):
    """Every dot and interval has the same colour; rows of tables carry no class of their own."""
    assert not soup_of(page).select("tr[class], td[style], th[style], tr[style]")


def test_cautions_on_comparing_staff_are_there(page, private):
    for path in (page, private):
        text = visible_text(soup_of(path))
        for words in ("Labour law", "consent", "pseudonyms", "pay, bonus or dismissal", "Invented data."):
            assert words in text


def test_the_answer_key_against_the_page(answers):
    """Planted: T2 is the best, gets the hardest boards and so has the lowest raw rate; T4 is the weakest."""
    key = json.loads((DEMO / "answer_key.json").read_text(encoding="utf-8"))["coefficients"]["technician"]
    found = answers.found
    best = max(key, key=key.get)
    assert best == "T2"
    raw = {p.code: p.raw.rate for p in found.people}
    same = {p.code: p.adjusted.mean for p in found.people}
    hardness = {p.code: p.hardness for p in found.people}
    assert min(raw, key=raw.get) == best
    assert min(hardness, key=hardness.get) == best
    assert max(same, key=same.get) == best
    assert min(same, key=same.get) == min(key, key=key.get) == "T4"
    # The planted distance of T2 (0.51 log odds) is smaller than what this log can show: "cannot tell" is its answer.
    mean = sum(key.values()) / len(key)
    assert key[best] - mean < answers.twin.of(best).log_odds_above
    assert {person.verdict for person in found.people} == {Verdict.CANNOT_TELL}


def test_the_private_page_holds_nobody_elses_figures(private, answers):
    html = private.read_text(encoding="utf-8")
    text = visible_text(soup_of(private))
    _, day, found = private_comparison(answers.log, "T2")
    assert day < answers.log.last_date
    assert f"first-boot result up to {day:%Y-%m-%d}" in text
    assert "The page counts first boots up to a certain day" in text
    for person in found.people:
        if person.code == "T2":
            assert f"{person.raw.x} of {person.raw.n}" in text
            continue
        assert not re.search(rf"\b{person.code}\b", html)
        assert f"{person.raw.x} of {person.raw.n}" not in text
    assert "rank" not in text
    assert "T2 alone" in text


def team(people: dict[str, int], **changes) -> Log:
    """A log in which each technician has so many jobs, two of three booted."""
    jobs, day = [], 0
    for code, count in people.items():
        for i in range(count):
            day += 1
            won = i % 3 > 0
            jobs.append(
                closed(
                    f"{code}-{i}",
                    "recovered" if won else "not_recovered",
                    first_boot_result="data_readable" if won else "short",
                    technician_id=code,
                    intake_damage=("drop", "liquid")[i % 2],
                    received_date=f"2025-{1 + day % 12:02d}-05",
                    closed_date="2026-02-01",
                )
            )
    return dataclasses.replace(log_of(jobs=jobs), settings=Settings(**changes))


def test_with_two_people_a_private_page_is_refused_since_it_would_show_the_other():
    answers = answers_of(team({"A": 30, "B": 30, "C": 8}))
    with pytest.raises(ReworkError, match="the bench less your own figures are the other's"):
        private_view(answers, "A")


def test_too_few_jobs_of_one_and_an_unknown_code_are_refused():
    answers = answers_of(team({"A": 30, "B": 30, "D": 25, "C": 8}))
    assert private_view(answers, "A").others == 2
    with pytest.raises(ReworkError, match="fewer than 20 first boots"):
        private_view(answers, "C")
    with pytest.raises(ReworkError, match="no job of technician 'Z'"):
        private_view(answers, "Z")
    html = "".join(part(private_view(answers, "A"))._repr_html_() for part in OWN)
    assert "20 of 30" in html


def test_what_blanks_do_to_the_intervals_is_told_in_plain_words(answers):
    html = technician_closing.limits(answers)._repr_html_()
    assert "The 95 % intervals are a little too narrow where facts are left blank" in html


def test_the_learning_picture_is_told_with_its_band_after_the_verdict(answers):
    curve = answers.learning.curve
    alt = technician_page.learning_picture(answers).alt
    assert alt.startswith(f"Whether first boot goes with the number of earlier jobs: {answers.learning.verdict}.")
    for at in (0, -1):
        band = f"({interval(curve.low[at], curve.high[at])}) at {curve.x[at]:.0f}"
        assert band in alt


def test_the_learning_curve_ends_where_fewer_than_three_people_have_come(answers):
    most = answers.found.jobs.compared.groupby("technician_id", observed=True)[EARLIER.column].max()
    third = sorted(most, reverse=True)[2]
    assert answers.learning.curve.x[-1] == pytest.approx(third)
    assert most.max() > third + 30, "one person has come much further in the demo"


def test_many_jobs_set_aside_are_told_before_anything_else(answers):
    rows = answers.log.tables["jobs"].head(60)[["received_date", "outcome"]]
    aside = dataclasses.replace(answers.log, jobs_set_aside=60, rows_set_aside=rows)
    screen = technician_page.first_screen(dataclasses.replace(answers, log=aside))._repr_html_()
    assert "Do not trust the rates below: 60 of 710 jobs are set aside" in screen
    assert "Mend the log first" not in technician_page.first_screen(answers)._repr_html_()


def test_a_person_s_page_and_a_plan_exclude_each_other(capsys):
    with pytest.raises(SystemExit) as ended:
        main(["compare", str(DEMO), "--technician", "T2", "--plan", "plan.csv"])
    assert ended.value.code == 2
    assert "not allowed with argument" in capsys.readouterr().err


def test_who_alone_has_a_kind_of_board_is_named_on_the_page_and_gets_no_private_one():
    log = team({"A": 60, "B": 60, "C": 60, "D": 60})
    jobs = log.tables["jobs"]
    jobs["intake_damage"] = jobs["intake_damage"].mask(jobs["technician_id"].eq("D"), "heat")
    html = shown(log)
    assert "D alone has boards with damage at intake &#x27;heat&#x27;, and no others: person and board" in html
    assert "D is not compared. Deal such boards" in html
    assert not re.search(r"<th[^>]*>D<", html)
    assert "of technicians who cannot be told from their boards" in html
    with pytest.raises(ReworkError, match="nobody else compared has"):
        private_view(answers_of(log), "D")
    assert private_view(answers_of(log), "A").others == 2
    jobs["intake_damage"] = (
        jobs["intake_damage"]
        .where(jobs["technician_id"].ne("C"), "liquid")
        .mask(jobs["technician_id"].isin(["A", "B"]), "drop")
    )
    html = shown(dataclasses.replace(log, tables={**log.tables, "jobs": jobs[jobs["technician_id"].isin(["A", "C"])]}))
    assert "no two have had boards of one kind" in html


def test_who_is_under_the_minimum_is_not_shown_but_counted():
    html = shown(team({"A": 30, "B": 30, "C": 8}))
    assert not re.search(r">C<|\bC\b:", html)
    assert "Of technicians with fewer than 20 such jobs each: 8" in html
    html = shown(team({"A": 30, "B": 30, "C": 8}, minimum_technician_n=8))
    assert re.search(r">C<", html)


def test_the_smallest_difference_worth_acting_on_is_read_from_the_settings():
    answers = answers_of(team({"A": 40, "B": 40, "C": 40}, smallest_difference_points=25))
    assert answers.found.smallest == 0.25
    assert "25 points" in technician_page.first_screen(answers)._repr_html_()


def small(jobs: int, **changes) -> Log:
    return Log.from_tables(simulate(dataclasses.replace(Shop(jobs=jobs), chains=False, **changes), 5).tables)


@pytest.mark.parametrize("jobs", [1, 20, 60, 200])
def test_few_jobs(jobs):
    html = shown(small(jobs))
    if jobs <= 20:
        assert "Technicians are not compared" in html


def test_no_job_no_technician_one_technician():
    assert "no technician has" in shown(log_of())
    nobody = team({"A": 40, "B": 40})
    nobody.tables["jobs"]["technician_id"] = None
    assert "no technician has" in shown(nobody)
    assert "only one technician has" in shown(team({"A": 80}))


@pytest.mark.parametrize("won", [True, False])
def test_all_successes_and_all_failures(won):
    log = team({"A": 30, "B": 30})
    jobs = log.tables["jobs"]
    jobs["outcome"] = "recovered" if won else "not_recovered"
    jobs["first_boot_result"] = "data_readable" if won else "short"
    assert "Too few" in shown(log)


def test_one_without_a_failure_and_one_without_a_success():
    log = team({"A": 30, "B": 30, "C": 30})
    jobs = log.tables["jobs"]
    for code, result in (("A", "data_readable"), ("B", "short")):
        own = jobs["technician_id"].eq(code)
        jobs.loc[own, "first_boot_result"] = result
        jobs.loc[own, "outcome"] = "recovered" if code == "A" else "not_recovered"
    html = shown(log)
    assert (
        "Told apart by this log: A above the bench&#x27;s average and B below the bench&#x27;s average (clear)" in html
    )


def test_many_people_and_long_codes():
    people = {f"{'Person-of-the-bench-' if k % 2 else 'P'}{k:02d}": 20 for k in range(14)}
    shown(team(people))


def test_only_the_required_columns():
    log = team({"A": 30, "B": 30})
    bare = ["job_id", "received_date", "intake_damage", "decision", "outcome", "closed_date", "first_boot_result"]
    typed = log_of(jobs=[{} for _ in range(60)]).tables["jobs"]
    for column in log.tables["jobs"].columns.difference([*bare, "technician_id"]):
        log.tables["jobs"][column] = typed[column]
    shown(log)


def test_the_command(tmp_path, capsys, monkeypatch):
    done = []
    monkeypatch.setattr(
        "analysis.report.technician_pages.publish_technicians", lambda log, out, say: done.append((log, out))
    )
    monkeypatch.setattr("analysis.report.technique_pages.publish_techniques", lambda *args: None)
    assert main(["compare", "--out", str(tmp_path)]) == 0
    assert done == [(DEMO, tmp_path)]
    assert main(["compare", "--technician", "T9", "--out", str(tmp_path / "o")]) == 2
    assert "no job of technician 'T9'" in capsys.readouterr().err
    assert not (tmp_path / "o").exists()


def test_later_work_does_not_move_the_comparison(answers):
    """Chances and mix rest on intake facts and boot test 1 alone."""
    cohort = answers.cohort
    touched = cohort.first_boots.assign(clean_passes_per_side=9.0, bench_hours=1.0, guessed_success_pct=1.0)
    again = compare_technicians(dataclasses.replace(cohort, first_boots=touched), 20, 10)
    assert [p.above for p in again.people] == [p.above for p in answers.found.people]


def test_to_lie_within_the_limits_is_not_said_to_be_all_that_chance_allows():
    """All three boot 20 of 30 in this log: nothing lies outside, which says little of how alike they work."""
    answers = answers_of(team({"A": 30, "B": 30, "C": 30}))
    assert "Everyone lies within the 95 % limits" in technician_page.funnel_picture(answers).alt
    under = technician_page.funnel_grid(answers)._repr_html_()
    assert "in at least 95 (99.8) of 100 logs" in under
    assert "no proof of working alike" in under


def test_of_two_people_the_better_is_not_told_twice(answers):
    """Of two, above their average and first are the same: two like numbers with a 'but' between them tell nothing."""
    assert "above the average in" in technician_page.verdict_words(answers).paragraphs[-1]
    two = dataclasses.replace(answers, found=dataclasses.replace(answers.found, people=answers.found.people[:2]))
    told = technician_page.verdict_words(two).paragraphs[-1]
    assert f"better of the two would come out first in only {technician_words.seldom(answers.twin.best_first)}." in told
    assert "average" not in told


def test_the_rise_that_would_have_been_seen_is_told_from_end_to_end(answers):
    """Points over a hundred jobs would end at certainty on a small log, whatever the rise: they would tell nothing."""
    low, high = (round(100 * end) for end in answers.learning.smallest_ends)
    told = f"rise steadily from about {low} % at 2 earlier jobs to about {high} % at 90."
    assert technician_page.learning_words(answers).paragraphs[0].endswith(told)
