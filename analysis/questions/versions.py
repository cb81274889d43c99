"""Versions that a sheet for clients carries: of the definitions it counts by, and of the code that counted."""

from __future__ import annotations

import functools
import hashlib
import json
from pathlib import Path

from analysis import __version__
from analysis.cohort.outcomes import DEFINITIONS, SUCCESS_RESULTS, Ending, FirstBoot
from analysis.questions.evidence_classes import CLASSES
from analysis.questions.evidence_time import AT_RISK, READY

PACKAGE = Path(__file__).resolve().parents[1]
COUNTING = ("records/**/*.py", "cohort/*.py", "models/*.py", "questions/*.py", "report/evidence*.py")
SHOWING = ("report/page.py", "report/evidence_words/*.toml", "report/template/*/*.css")
SHEET_RULES = (
    "Jobs by the day received; a chain of attempts on one board is one job, by the day its first job came in. As the"
    " log stood at the end of the day of the seal; what of an open job carries no date is not known yet. Lost for good:"
    " accepted closed jobs that were not recovered, with loss_reversible 'no' on the last job of the chain; blank after"
    " work is told apart. Days: from receipt to the first recovery of the chain, else to the closing of its last job."
    " A day is told with enough jobs still followed on it, or with enough, nine in ten of all, followed to it or to"
    " their end, the one followed longest among them."
)


def definitions_version() -> str:
    """Number of the definitions and the beginning of a hash of their words; another word is another version."""
    content = [DEFINITIONS, SUCCESS_RESULTS, list(Ending), list(FirstBoot), CLASSES, SHEET_RULES, READY, AT_RISK]
    digest = hashlib.sha256(json.dumps(content, ensure_ascii=False, sort_keys=True).encode()).hexdigest()
    return f"1-{digest[:12]}"


@functools.cache
def code_version() -> str:
    """Version of the program and the beginning of a hash of the source files that count and that make the page."""
    digest = hashlib.sha256()
    for path in sorted({path for part in (*COUNTING, *SHOWING) for path in PACKAGE.glob(part)}):
        text = path.read_bytes().replace(b"\r\n", b"\n")
        digest.update(f"{path.relative_to(PACKAGE).as_posix()} {len(text)}\n".encode() + text)
    return f"{__version__}-{digest.hexdigest()[:12]}"
