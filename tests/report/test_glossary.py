"""Every word of the trade or of statistics that README, guides and pages use is explained in the glossary."""

from __future__ import annotations

import re

import pytest

from analysis.cli_shared import PROJECT
from analysis.report.glossary import glossary
from analysis.report.guide_pages import guides

# Words that a bench technician, or anybody who is no statistician, may ask about. As patterns of whole words.
TRADE = """
donor boards?;intakes?;pads?;pad grades?;side;pass(es)?;low-melt;flux;wick;blades?;residue;underfill;preheats?;removal;
reball(ed)?;ball resets?;ball alloy|lead-free|SAC305|leaded;install(ed|s)?;set temperature|set-points?;
thermocouple;airflow;liquidus;presets?;heat cycles;lots?;boot tests?;first boots?;attempts?;bench hours?;chain;margins?;
break-even;staged;guess(es)?;queue;processor;memory;storage;NAND;CPU;
"""
LOG = """
log;CSV;pseudonyms?;blanks?;faults?;set aside;ledger;hash(es)?;salts?;salted;seal(s|ed)?;fingerprint;recount;
suppress(ion|ed);anonymity;random seeds?;exit status;
"""
STATISTICS = """
denominator;raw rates?;plain rates?;damage class(es)?;class rate;like boards;expected;chances?;intervals?;
likely range;80 % (range|interval);limits?;percentage points;odds;log odds;odds ratios?;P;models?;associations?;
contrasts?;exploratory;clear;leaning;cannot tell;alarms?;false alarms?;by lot;looks?;replay(ed)?;simulat(ed|ions?);
regression;penalised logistic regression;profile.likelihood;likelihood-ratio test;chi-squared?;spline;offset;
random intercepts;prior;posterior;half-normal;Laplace;delta method;bootstrap;resampl(ed|ing);optimism;Brier;
log score;AUC;calibrat(ed|ion);intercept;slope;net benefit;standardisation;doubly robust;imputation;E-value;
Holm('s method)?;Wilson;Fisher's exact test;Mantel–Haenszel;Poisson-binomial;[Ff]unnel;p-chart;CUSUM;
cumulative incidences?;Aalen–Johansen;competing ends?;censored;Gray's test;Cox( regression)?;Efron;Monte Carlo;
TRIPOD;STROBE;Rubin;pooling|pooled;twins?;coverage
"""
WORDS = [word.strip() for word in (TRADE + LOG + STATISTICS).replace("\n", "").split(";")]


def has(word: str, text: str) -> bool:
    return bool(re.search(rf"(?<![\w-])(?:{word})(?![\w-])", text, 0 if word.isupper() else re.IGNORECASE))


@pytest.fixture(scope="module")
def written() -> str:
    """What is read: README, guides, and what the sentences of pages, and the log's columns, are made of."""
    files = [PROJECT / "README.md", *(guide.path for guide in guides())]
    for part in ("analysis/report", "analysis/questions", "analysis/records/dictionary", "tests/verification"):
        files += [path for path in sorted((PROJECT / part).rglob("*.*")) if path.suffix in (".py", ".toml")]
    files = [path for path in files if path.stem != "glossary"]
    return "\n".join(path.read_text(encoding="utf-8") for path in files)


@pytest.mark.parametrize("word", WORDS)
def test_a_word_that_is_used_is_explained(word, written):
    assert has(word, written), "nobody uses it: take it off this list"
    assert any(has(word, key) for key in glossary())


def test_no_word_is_explained_by_itself_alone():
    for key, text in glossary().items():
        assert len(text.split()) >= 3, key


def test_the_readme_says_where_the_glossary_is():
    assert "`words.html`, which `rework index` puts beside the pages" in (PROJECT / "README.md").read_text(
        encoding="utf-8"
    )
