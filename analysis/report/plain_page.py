"""A page put together from parts, without a notebook: the look of every other page, at once and offline."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from analysis import __version__
from analysis.report.exporting import TEMPLATES, css_text, slug
from analysis.report.page import FirstScreen, Grid, PageHead

FAILS = "FAILS"
# The pages of notebooks extend the skeleton of nbconvert; here is the little of it that a page of parts needs.
SKELETON = "{% block header %}{% endblock %}{% block body %}{% endblock %}{% block footer %}{% endblock %}"


@dataclass(frozen=True)
class Heading:
    """A section of the page, listed in its contents."""

    title: str
    name: str = ""

    @property
    def place(self) -> str:
        """What links to it say."""
        return self.name or slug(self.title)

    def _repr_html_(self) -> str:
        return f'<h2 id="{self.place}">{escape(self.title)}</h2>'


@dataclass(frozen=True)
class Contents:
    """Links to the sections of a page."""

    headings: Sequence[Heading]

    def _repr_html_(self) -> str:
        links = "".join(f'<li><a href="#{h.place}">{escape(h.title)}</a></li>' for h in self.headings)
        return f'<nav aria-label="Sections of this page"><ul>{links}</ul></nav>'


def _reddened(html: str) -> str:
    """What fails, where it begins a cell or a line: texts are escaped, so that nothing else can look like it."""
    return re.sub(rf">{FAILS}(?=[<:])", f'><strong class="fails">{FAILS}</strong>', html)


@dataclass(frozen=True)
class Results(Grid):
    """A table of checks: what fails is said in capitals and set in red besides."""

    def _repr_html_(self) -> str:
        return _reddened(super()._repr_html_())


@dataclass(frozen=True)
class ResultsScreen(FirstScreen):
    """A first screen of checks, with the same mark."""

    def _repr_html_(self) -> str:
        return _reddened(super()._repr_html_())


def page_html(head: PageHead, parts: Sequence[Any]) -> str:
    """Put a page together.

    Parameters
    ----------
    head : PageHead
        Title and origin.
    parts : sequence
        Objects with ``_repr_html_``, in order; see :mod:`analysis.report.page`.

    Returns
    -------
    str
        The whole page: one file, nothing remote, no script.
    """
    from jinja2 import ChoiceLoader, DictLoader, Environment, FileSystemLoader

    folders = FileSystemLoader([TEMPLATES / "plain", TEMPLATES / "bench"])
    # Parts escape what they show, as the cells of a notebook do; the template escapes the rest.
    made = Environment(loader=ChoiceLoader([folders, DictLoader({"base/null.j2": SKELETON})]), autoescape=False)
    made.filters["prose"] = str  # named in the cells of the other template, which are not drawn here
    made.filters["css_text"] = css_text
    css = [(TEMPLATES / name).read_text(encoding="utf-8") for name in ("bench/page.css", "plain/plain.css")]
    page = vars(head) | {
        "log_hash": head.log_hash[:12],
        "css": "".join(css),
        "made_on": dt.date.today().isoformat(),
        "version": __version__,
        "parts": [part._repr_html_() for part in parts],
    }
    return made.get_template("page.html.j2").render(resources={"page": page})
