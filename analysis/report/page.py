"""What a notebook cell shows: small objects that draw themselves in JupyterLab and in the published page."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

from analysis.cohort.ledger import Ledger
from analysis.errors import ReworkError
from analysis.records.log import Log
from analysis.records.problems import plural

LONG_TEXT = 14  # letters of a cell from which its column keeps a width of its own on a phone
LOOK_IN_JUPYTERLAB = Path(__file__).parent / "template" / "lab" / "lab.css"
# Lines of a review's first screen that the index looks for.
MONTH_IN_NUMBERS, UNFINISHED = "The month in numbers", "The month is not over in the log"
MANY_SET_ASIDE = 0.05  # share of the log; common practice, no source


@dataclass(frozen=True)
class PageHead:
    """Title and origin of a page; the published page takes its head from it.

    Parameters
    ----------
    title : str
        The one h1.
    shop : str
        Name of the bench.
    period : str
        Period in words.
    log_hash : str
        Hash of the log.
    invented : bool
        Whether the banner for invented data is shown.
    footer : str
        Last line of the page.
    lang : str
        Language code.
    """

    title: str
    shop: str
    period: str
    log_hash: str
    invented: bool
    footer: str = "Local codes, licensed professionals and the makers' data sheets prevail over anything on this page."
    lang: str = "en"

    @classmethod
    def of(cls, log: Log, title: str, period: str) -> PageHead:
        """Head of a page on a log: its shop, its hash, whether it is invented."""
        return cls(title, log.settings.shop_name, period, log.hash, log.invented)

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        banner = "<p><strong>Invented data.</strong></p>" if self.invented else ""
        # Only JupyterLab shows this; its style is that of all cells below.
        look = f"<style>{LOOK_IN_JUPYTERLAB.read_text(encoding='utf-8')}</style>"
        html = f"{look}{banner}<p>{escape(self.shop)}</p><h1>{escape(self.title)}</h1><p>{escape(self.period)}</p>"
        facts = vars(self) | {"log_hash": self.log_hash[:12]}
        return {"text/html": html, "application/vnd.rework.page+json": facts}


def jobs_up_to(log: Log, where: str = "") -> str:
    """Jobs of a log, those set aside among them, and its last day: "650 jobs in the log up to 2024-10-02"."""
    jobs = plural(len(log.tables["jobs"]) + log.jobs_set_aside, "job")
    last = log.last_date
    return f"{jobs}{where}" + (f" up to {last:%Y-%m-%d}" if last == last else "")


@dataclass(frozen=True)
class Statement:
    """One line of a first screen.

    Parameters
    ----------
    label : str
        What it is about, two or three words.
    says : str
        The finding as a sentence.
    detail : str
        Quiet second line, with n.
    """

    label: str
    says: str
    detail: str = ""


def jobs_left_out(ledger: Ledger, lack: str, first: str = "") -> Statement:
    """The line of a first screen on what is not counted: "126 of 650 jobs in the log have no first-boot result to count".

    Parameters
    ----------
    ledger : Ledger
        Where every job went.
    lack : str
        What the jobs left out are without.
    first : str
        Sentences put before the reasons.
    """
    reasons = "; ".join(f"{reason}: {n}" for reason, n in ledger.exclusions if not reason.startswith("set aside"))
    have = "has" if ledger.left_out == 1 else "have"
    says = f"{ledger.left_out} of {plural(ledger.rows_in, 'job')} in the log {have} {lack}."
    told = f"{reasons[:1].upper()}{reasons[1:]}." if reasons else ""
    return Statement("Jobs left out", says, " ".join(filter(None, (first, told))))


def mend_first(log: Log) -> list[Statement]:
    """A line before all others where faults set many jobs aside: the rates of what is left may be far off."""
    total = len(log.tables["jobs"]) + log.jobs_set_aside
    if log.jobs_set_aside <= MANY_SET_ASIDE * total:
        return []
    says = (
        f"Do not trust the rates below: {log.jobs_set_aside} of {plural(total, 'job')} are set aside because of faults,"
        f" {log.failures_set_aside} of them closed as not recovered."
    )
    return [Statement("Mend the log first", says, "'rework check' lists every fault and what to do.")]


@dataclass(frozen=True)
class FirstScreen:
    """The few statements that a reader in a hurry needs."""

    statements: Sequence[Statement]

    def _repr_html_(self) -> str:
        items = [
            f'<li><span class="label">{escape(s.label)}</span> <span class="says">{escape(s.says)}</span>'
            + (f' <span class="detail">{escape(s.detail)}</span>' if s.detail else "")
            + "</li>"
            for s in self.statements
        ]
        return f'<ul class="first">{"".join(items)}</ul>'


@dataclass(frozen=True)
class Prose:
    """Plain paragraphs; all text is escaped."""

    paragraphs: Sequence[str]

    def _repr_html_(self) -> str:
        return "".join(f"<p>{escape(text)}</p>" for text in self.paragraphs if text)


@dataclass(frozen=True)
class Bullets:
    """A plain list; all text is escaped."""

    items: Sequence[str]

    def _repr_html_(self) -> str:
        return f"<ul>{''.join(f'<li>{escape(text)}</li>' for text in self.items)}</ul>" if self.items else ""


@dataclass(frozen=True)
class Caution:
    """A caution about safety, honesty or privacy."""

    paragraphs: Sequence[str]

    def _repr_html_(self) -> str:
        inner = "".join(f"<p>{escape(text)}</p>" for text in self.paragraphs)
        return f'<div class="caution" role="note" aria-label="Caution">{inner}</div>'


@dataclass(frozen=True)
class Beside:
    """Something shown, and a file that is put beside the page together with it.

    Parameters
    ----------
    shown : Prose or Bullets
        What the page shows.
    ending : str
        Ending of the file's name; the rest is the page's.
    text : str
        Its content.
    """

    shown: Prose | Bullets
    ending: str
    text: str

    def _repr_html_(self) -> str:
        return self.shown._repr_html_()

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        return {"text/html": self._repr_html_(), "application/vnd.rework.beside+json": {self.ending: self.text}}


@dataclass(frozen=True)
class Picture:
    """A figure with real alternative text and its n.

    Parameters
    ----------
    figure : matplotlib Figure
        What to draw.
    alt : str
        What the picture shows, in words, written from the result.
    caption : str
        Line under the picture.
    n : int
        Rows behind it; shown in the caption.

    Raises
    ------
    ReworkError
        If the alternative text is missing.
    """

    figure: Any
    alt: str
    caption: str
    n: int

    def __post_init__(self) -> None:
        if len(self.alt.split()) < 4:
            raise ReworkError("A figure has no alternative text that says what it shows.")

    def _repr_html_(self) -> str:
        out = io.BytesIO()
        self.figure.savefig(out, format="png", dpi=200)
        data = base64.b64encode(out.getvalue()).decode("ascii")
        width, height = (round(inches * 96) for inches in self.figure.get_size_inches())
        image = f'<img src="data:image/png;base64,{data}" alt="{escape(self.alt)}" width="{width}" height="{height}">'
        return f"<figure>{image}<figcaption>{escape(self.caption)} <span>(n = {self.n})</span></figcaption></figure>"


@dataclass(frozen=True)
class Grid:
    """A table.

    Parameters
    ----------
    caption : str
        What the table shows.
    heads : sequence of str
        Column headings.
    rows : sequence of sequence of str
        Cells as they are to be read; the first of each row is its heading.
    numbers : sequence of int
        Columns that hold numbers and are set to the right.
    under : str
        Note below.
    """

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    numbers: Sequence[int] = ()
    under: str = ""

    def _kinds(self) -> list[str]:
        """Class of each column: numbers, or sentences that a narrow screen must not squeeze to a word a line."""
        longest = [0] * len(self.heads)
        for row in self.rows:
            longest = [max(so_far, len(str(text))) for so_far, text in zip(longest, row, strict=True)]
        long = [' class="long"' if letters > LONG_TEXT else "" for letters in longest]
        return [' class="number"' if at in self.numbers else kind for at, kind in enumerate(long)]

    def _repr_html_(self) -> str:
        kinds = self._kinds()
        head = "".join(
            f'<th scope="col"{kind}>{escape(str(text))}</th>' for kind, text in zip(kinds, self.heads, strict=True)
        )
        lines = []
        for row in self.rows:
            first, *others = (escape(str(text)) for text in row)
            cells = "".join(f"<td{kind}>{text}</td>" for kind, text in zip(kinds[1:], others, strict=True))
            lines.append(f'<tr><th scope="row"{kinds[0]}>{first}</th>{cells}</tr>')
        body = "".join(lines)
        inner = f"<caption>{escape(self.caption)}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody>"
        short = all(len(str(row[0])) <= 16 for row in self.rows)
        table = f'<table class="short">{inner}</table>' if short else f"<table>{inner}</table>"
        note = f'<p class="under">{escape(self.under)}</p>' if self.under else ""
        return f'<div class="wide" role="region" tabindex="0" aria-label="{escape(self.caption)}">{table}</div>{note}'


def ledger_grid(ledger: Ledger, period: str) -> Grid:
    """The row ledger as a table: rows in, every exclusion, rows used."""
    rows = [[f"{ledger.unit} in the log", str(ledger.rows_in)]]
    rows += [[f"left out: {reason}", f"−{n}"] for reason, n in ledger.exclusions]
    rows.append([f"{ledger.unit} used", str(ledger.rows_used)])
    return Grid(f"Where every row went ({period})", ["what", ledger.unit], rows, numbers=(1,))
