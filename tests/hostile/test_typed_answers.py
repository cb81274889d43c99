"""Whatever is typed at the bench: an entry that the check finds clean, or an untouched log; never a traceback."""

from __future__ import annotations

import random
import shutil

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.errors import ReworkError
from analysis.records.entering.command import enter_at_the_bench
from analysis.records.entering.presets import FILE, template
from tests.files import TODAY, base, found, write
from tests.records.entering.test_at_the_bench import in_force

MOST_PROMPTS = 90
ODD = (
    *(
        "=1+1",
        "@x",
        "<script>alert(1)</script>",
        '"',
        "'",
        '","',
        ";",
        "\t",
        "a\tb",
        "1e400",
        "-0",
        "١٢",
        "NaN",
        "None",
        "null",
    ),
    *(
        "drop\u202e",
        "dr\u043ep",
        "\x00",
        "\x1b[2J",
        "..",
        "../../x",
        "J-1",
        "J-1 ",
        "9" * 400,
        "x" * 10_000,
        "2024-02-30",
        "1/2/24",
    ),
)
SENSIBLE = (
    "",
    "",
    "",
    "",
    "1",
    "2",
    "3",
    "1 2",
    "2 1 0 0",
    "0",
    "5",
    "yes",
    "no",
    "accepted",
    "work",
    "boot_test",
    "close",
)
COMMANDS = ("<", "?", "-", "write")


@pytest.fixture(scope="module")
def clean(tmp_path_factory):
    log = write(tmp_path_factory.mktemp("typed") / "log", base())
    (log / FILE).write_text(in_force(template()))
    return log


def contents(log):
    return {path.name: path.read_bytes() for path in log.iterdir() if path.name[0] != "."}


def typed_into(log, seed: int, texts: list[str]) -> None:
    pick, said, asked = random.Random(seed), [], []

    def read_line(prompt: str) -> str:
        asked.append(prompt)
        if len(asked) > MOST_PROMPTS:
            raise KeyboardInterrupt
        chance = pick.random()
        odd = [*ODD, *texts]
        return pick.choice(SENSIBLE if chance < 0.8 else COMMANDS if chance < 0.9 else odd)

    before = contents(log)
    try:
        written = enter_at_the_bench(log, "", TODAY, read_line, said.append)
    except (KeyboardInterrupt, ReworkError):
        written = ""
    assert not [text for text in said if "Traceback" in text]
    if written:
        assert not [p for p in found(log) if p.severity == "fault"]
        assert all(contents(log)[name].startswith(data) for name, data in before.items() if name != "jobs.csv")
    else:
        assert contents(log) == before


def once(clean, tmp_path_factory, seed: int, texts: list[str]) -> None:
    log = tmp_path_factory.mktemp("one") / "log"
    shutil.copytree(clean, log)
    typed_into(log, seed, texts)
    shutil.rmtree(log)


anything = given(seed=st.integers(0, 2**32), texts=st.lists(st.text(max_size=40), max_size=5))
slowly = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow, HealthCheck.function_scoped_fixture]}


@settings(max_examples=25, derandomize=True, **slowly)
@anything
def test_what_is_typed_is_clean_or_leaves_no_trace(clean, tmp_path_factory, seed, texts):
    once(clean, tmp_path_factory, seed, texts)


@pytest.mark.slow
@settings(max_examples=1000, derandomize=True, **slowly)
@anything
def test_a_thousand_sittings_are_clean_or_leave_no_trace(clean, tmp_path_factory, seed, texts):
    once(clean, tmp_path_factory, seed, texts)


def test_such_sittings_do_write_entries(clean, tmp_path):
    """Else the tests above would show little."""
    written = 0
    for seed in range(12):
        log = shutil.copytree(clean, tmp_path / str(seed))
        typed_into(log, seed, [])
        written += contents(log) != contents(clean)
    assert written >= 3
