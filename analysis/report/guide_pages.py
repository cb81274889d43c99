"""The guides of notebooks/guide/ as pages, so that they lie beside the pages they explain."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from analysis.report.exporting import prose
from analysis.report.page import Grid, PageHead
from analysis.report.plain_page import page_html
from analysis.report.render import NOTEBOOKS

GUIDES = NOTEBOOKS / "guide"
# As the README lists them; what is not named follows by name.
ORDER = (
    "bringing_in_your_log",
    "before_the_monthly_meeting",
    "at_the_counter",
    "when_a_client_asks",
    "before_you_compare_people",
)
TABLE = re.compile(r"((?:^\|.*\n?)+)", re.M)


def _cells(line: str) -> list[str]:
    return [cell.strip().replace("`", "") for cell in line.strip().strip("|").split("|")]


def _table_html(lines: list[str], section: str) -> str:
    """A table of a guide, drawn as every table is; its caption is the section it stands in."""
    head, _, *rows = (_cells(line) for line in lines)
    return Grid(section, head, rows)._repr_html_()


@dataclass(frozen=True)
class Guide:
    """A guide: its first heading is the title of its page, the rest its text."""

    path: Path

    @property
    def text(self) -> str:
        """All of it, as written."""
        return self.path.read_text(encoding="utf-8")

    @property
    def title(self) -> str:
        """The heading."""
        return self.text.partition("\n")[0].removeprefix("# ")

    @property
    def for_whom(self) -> str:
        """The first sentence: whose duty it is."""
        return " ".join(self.text.split("\n\n")[1].split()).partition(". ")[0].removesuffix(".") + "."

    @property
    def name(self) -> str:
        """File name of its page."""
        return f"guide-{self.path.stem.replace('_', '-')}.html"

    def _repr_html_(self) -> str:
        out, section = [], self.title
        for piece in TABLE.split(self.text.partition("\n")[2]):
            if piece.startswith("|"):
                out.append(_table_html(piece.splitlines(), section))
                continue
            section = (re.findall(r"^#+ (.*)$", piece, re.M) or [section])[-1]
            # What scrolls must be within reach of the keyboard.
            out.append(prose(piece).replace("<pre>", '<pre tabindex="0">'))
        return f'<div class="prose">{"".join(out)}</div>'


def guides() -> list[Guide]:
    """Every guide, in the order of the duties."""
    place = {stem: at for at, stem in enumerate(ORDER)}
    return [Guide(p) for p in sorted(GUIDES.glob("*.md"), key=lambda p: (place.get(p.stem, len(ORDER)), p.name))]


def guide_html(guide: Guide) -> str:
    """The page of a guide."""
    return page_html(PageHead(guide.title, "Guide", "A duty step by step", "", False), [guide])
