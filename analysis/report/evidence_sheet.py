"""The sheet for clients as one self-contained page, published with its place in the list of published sheets.

It is not made by running a notebook: the page must hold no code and no name of a folder, and a recount makes it again
to compare it word by word. ``notebooks/client_evidence.ipynb`` shows the same parts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from pathlib import Path
from typing import Any

from analysis.errors import ReworkError
from analysis.questions.evidence import too_near
from analysis.questions.evidence_facts import recount_csv
from analysis.questions.evidence_intake import DAMAGE
from analysis.questions.published import gives_away, read_published, record_published, shown_by
from analysis.records.log import FILES
from analysis.records.sealing.ledger import id_salt
from analysis.records.whole_texts import export_text
from analysis.report import evidence_page as parts
from analysis.report.evidence_view import SheetView, build
from analysis.report.evidence_wording import words_for
from analysis.report.exporting import TEMPLATES
from analysis.report.publishing import publish

CSP = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


def _html(part: Any) -> str:
    return str(part._repr_html_())


def body(view: SheetView) -> str:
    """Everything a reader sees; the same log, period and language give the same text."""
    w = view.words
    invented = f'<p class="invented" role="note"><strong>{escape(w.say("page.invented"))}</strong></p>'
    draft = f'<p class="draft" role="note"><strong>{escape(w.say("page.draft"))}</strong></p>'
    version = w.say("page.version", version=parts.version_text(view.mark))
    return "\n".join(
        [
            f'<a class="skip" href="#main">{escape(w.say("page.skip"))}</a>',
            "<header>",
            invented if view.invented else "",
            "" if view.mark.seal else draft,
            f'<p class="shop">{escape(view.shop)}</p><h1>{escape(w.say("page.title"))}</h1>',
            f'<p class="period">{escape(parts.period_text(view))} {escape(version)}</p></header>',
            '<main id="main">',
            _html(parts.headline(view)),
            _html(parts.success(view)),
            f'<div class="pair">{_html(parts.jobs_grid(view))}<div>{_html(parts.classes_grid(view))}</div></div>',
            _html(parts.more(view)),
            _html(parts.cautions(view)),
            f'<div class="notes">{_html(parts.notes(view))}{_html(parts.recount_words(view))}</div>',
            _html(parts.for_machines(view)),
            f"</main><footer><p>{escape(w.say('page.footer'))}</p></footer>",
        ]
    )


def sheet_html(view: SheetView) -> str:
    """The page."""
    css = [(TEMPLATES / folder).read_text(encoding="utf-8") for folder in ("bench/page.css", "sheet/sheet.css")]
    title = f"{view.words.say('page.title')} – {view.shop}"
    return "\n".join(
        [
            "<!DOCTYPE html>",
            f'<html lang="{escape(view.words.code)}"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="referrer" content="no-referrer">',
            f'<meta http-equiv="Content-Security-Policy" content="{CSP}">',
            f"<title>{escape(title)}</title>",
            f"<style>\n{''.join(css)}</style></head>",
            f'<body class="sheet">{body(view)}</body></html>\n',
        ]
    )


def file_name(view: SheetView) -> str:
    """Name of the page: another period, kind of device, language or country does not take another page's place."""
    language, _, _ = view.words.code.partition("-")
    code = language if words_for(language).code == view.words.code else view.words.code
    named = ["evidence", view.evidence.span.name]
    if view.alike is not None:
        named += ["device", view.alike.facts[DAMAGE]]
    return "-".join([*named, *([] if code == "en" else [code])])


def publish_evidence(
    folder: Path,
    out: Path,
    say: Callable[[str], None],
    *,
    half: str = "",
    first: str = "",
    last: str = "",
    language: str = "en",
    intake: Sequence[str] = (),
    recount_file: Path | None = None,
) -> Path:
    """Count and publish the sheet; with ``recount_file`` also the redacted file for a named auditor.

    Raises
    ------
    ReworkError
        If the log cannot be used or the sheet would show too few jobs; an earlier page stays.
    """
    folder, out = Path(folder).resolve(), Path(out)
    say(f"Reading the log in {folder.name} …")
    view = build(folder, half, first, last, language, intake)
    if view.mark.seal:
        _list(folder, view)
    else:
        say("The log is not sealed: this is a draft, not to be handed out. 'rework seal' seals it.")
        if recount_file is not None:
            todo = "Seal the log with 'rework seal' first."
            raise ReworkError("A draft has no recount file: its salt is that of a seal.", todo=todo)
    page = out / f"{file_name(view)}.html"
    publish(sheet_html(view), page)
    say(f"Sheet written to {page}")
    if recount_file is not None:
        export_text(recount_csv(view.evidence, id_salt(folder)), recount_file, folder, FILES)
        say(f"Recount file written to {recount_file}: for a named auditor, not for publication.")
    return page


def _list(folder: Path, view: SheetView) -> None:
    """Put the sheet on the list before it is handed out: listed and not published does no harm, the reverse would."""
    from analysis.records.entering.storing import locked

    evidence = view.evidence
    groups = tuple(row.codes for row in evidence.classes)
    with locked(folder):
        shown = shown_by(evidence.rows, evidence.span, groups, id_salt(folder), evidence.minimum)
        if gives_away(
            shown, read_published(folder), evidence.minimum
        ):  # published by somebody else since it was counted
            raise too_near(evidence.span, evidence.minimum)
        record_published(folder, evidence.span.name, shown)
