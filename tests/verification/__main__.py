"""``rework verify`` runs this: every outside check and simulation printed, and made a page."""

from __future__ import annotations

import argparse
import io
import sys
from pathlib import Path

from analysis.errors import ReworkError
from analysis.report.plain_page import page_html
from analysis.report.publishing import publish
from analysis.report.render import PROJECT
from tests.reference.engines import line, run_all
from tests.verification import page

NAME = "verification.html"


def main() -> int:
    """Print, publish; 0 all holds, 1 something fails, 2 the page cannot be written."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=PROJECT / "reports")
    out = parser.parse_args().out
    if isinstance(sys.stdout, io.TextIOWrapper):  # a terminal that lacks a letter shows its number instead
        sys.stdout.reconfigure(errors="backslashreplace")
    checks, found = run_all(), page.gather()
    for text in [*map(line, checks), *page.said(found)]:
        print(text)
    print(*(f"{s.label}: {s.says} {s.detail}".strip() for s in page.first_screen(checks, found).statements), sep="\n")
    try:
        publish(page_html(page.page_head(checks, found), page.parts(checks, found)), out / NAME)
    except ReworkError as error:
        print(f"rework: {error}", file=sys.stderr)
        return 2
    print(f"Page written to {out / NAME}")
    return 0 if page.sound(checks, found) else 1


if __name__ == "__main__":
    try:
        sys.exit(main())
    except KeyboardInterrupt:
        sys.exit(130)
