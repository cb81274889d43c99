"""What axe-core finds on every page, at a wide and at a phone's width.

``python -m tests.report.accessibility reports`` prints a table: rules that a page broke, rules it passed, and rules
that only a person can judge (axe calls them incomplete), and ends with exit status 1 where a rule is broken.

Source: axe-core, the accessibility rules engine (WCAG 2.0 to 2.2, levels A and AA, and its best practices).
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.report.browser import browser

WIDTHS = (360, 1280)


@dataclass(frozen=True)
class Found:
    """What the rules say of one page at one width: each broken or unjudged rule with the first place."""

    broken: tuple[str, ...]
    passed: int
    unjudged: tuple[str, ...]
    engine: str


def _told(rules: list[dict[str, Any]]) -> tuple[str, ...]:
    return tuple(f"{rule['id']} ({len(rule['nodes'])}): {rule['nodes'][0]['html'][:160]}" for rule in rules)


def looked_at(page: Any, *, contrast: bool = True) -> Found:
    """Run every rule on an open page; that of contrast, which takes most of the time, may be left out."""
    from axe_playwright_python.sync_playwright import Axe

    # The engine judges no contrast before a scrolling table's shaded edge, nor of what is scrolled out of sight.
    page.add_style_tag(content=".wide { background: none !important; overflow: visible !important; }")
    # Of rules that passed, only their number is told: their places fill megabytes on a long page.
    options = {"resultTypes": ["violations", "incomplete"], "rules": {"color-contrast": {"enabled": contrast}}}
    told = Axe().run(page, options=options).response
    engine = f"{told['testEngine']['name']} {told['testEngine']['version']}"
    return Found(_told(told["violations"]), len(told["passes"]), _told(told["incomplete"]), engine)


def main(folder: Path) -> int:
    """Print the table of a folder of pages."""
    worst = 0
    print(f"{'page':<42}{'width':>6}{'broken':>8}{'passed':>8}{'for a person':>14}")
    with browser() as running:
        for path in sorted(folder.glob("*.html")):
            for width in WIDTHS:
                page = running.new_page(viewport={"width": width, "height": 800})
                page.goto(path.resolve().as_uri())
                found = looked_at(page)
                page.close()
                worst = max(worst, len(found.broken))
                print(f"{path.name:<42}{width:>6}{len(found.broken):>8}{found.passed:>8}{len(found.unjudged):>14}")
                for rule in found.broken:
                    print(f"    broken: {rule}")
                for rule in found.unjudged:
                    print(f"    for a person: {rule}")
    return int(worst > 0)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
