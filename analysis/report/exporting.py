"""An executed notebook as one self-contained page, by our own template."""

from __future__ import annotations

import copy
import datetime as dt
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from analysis import __version__
from analysis.errors import RenderError
from analysis.report.parameters import declared, parameters_cell

TEMPLATES = Path(__file__).resolve().parent / "template"


def heading_of(cell: Mapping[str, Any]) -> str:
    """Last heading of a markdown cell; empty when it has none."""
    found = re.findall(r"^#+\s+(.*)$", cell["source"], re.M) if cell["cell_type"] == "markdown" else []
    return found[-1] if found else ""


def prose(markdown: str) -> str:
    """Markdown of a notebook to HTML; any HTML in it is shown as text, headings get names to link to."""
    import mistune

    html = str(mistune.create_markdown(escape=True)(markdown))
    return re.sub(
        r"<h([1-6])>(.*?)</h\1>", lambda m: f'<h{m[1]} id="{slug(re.sub("<[^>]+>", "", m[2]))}">{m[2]}</h{m[1]}>', html
    )


def css_text(text: object) -> str:
    """A text as it may stand between quotation marks in a style sheet, whatever it holds."""
    return "".join(letter if letter.isalnum() else f"\\{ord(letter):06x} " for letter in str(text))


def to_html(notebook: Any) -> str:
    """Export an executed notebook with our own template: nothing remote, code folded away."""
    from nbconvert.exporters.templateexporter import TemplateExporter
    from traitlets.config import Config

    config = Config()
    config.TemplateExporter.extra_template_basedirs = [str(TEMPLATES)]
    exporter = TemplateExporter(config=config, template_name="bench", template_file="index.html.j2")  # type: ignore[no-untyped-call]
    exporter.register_filter("prose", prose)  # type: ignore[no-untyped-call]
    exporter.register_filter("css_text", css_text)  # type: ignore[no-untyped-call]
    notebook = _without_paths(notebook)
    meta = _page_meta(notebook) | {"css": (TEMPLATES / "bench" / "page.css").read_text(encoding="utf-8")}
    body, _ = exporter.from_notebook_node(notebook, resources={"page": meta})
    return re.sub(r"\n\s*\n+", "\n", str(body))


def _without_paths(notebook: Any) -> Any:
    """A copy whose parameters cell names folders by their last part: a page is no place for paths of a machine."""
    out = copy.deepcopy(notebook)
    cell = out["cells"][parameters_cell(out)]
    values = declared(cell["source"])
    shown = {k: Path(v).name if isinstance(v, str) and Path(v).is_absolute() else v for k, v in values.items()}
    cell["source"] = "\n".join(f"{name} = {value!r}" for name, value in shown.items())
    return out


def _page_meta(notebook: Any) -> dict[str, Any]:
    """Facts for the head of the page, left by :class:`analysis.report.page.PageHead` in one of the outputs."""
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            found = output.get("data", {}).get("application/vnd.rework.page+json")
            if found:
                made = dt.date.today().isoformat()
                return dict(found) | {"made_on": made, "version": __version__, "sections": _sections(notebook)}
    raise RenderError("The notebook shows no PageHead, so that its page would have no title.")


def _sections(notebook: Any) -> list[dict[str, str]]:
    titles = [heading_of(cell) for cell in notebook.cells]
    return [{"title": title, "id": slug(title)} for title in titles if title]


def slug(title: str) -> str:
    """Name of a section within the page."""
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")


def texts_beside(notebook: Any) -> dict[str, str]:
    """Files that outputs of the notebook leave beside the page (see :class:`analysis.report.page.Beside`)."""
    out: dict[str, str] = {}
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            out |= output.get("data", {}).get("application/vnd.rework.beside+json", {})
    return out
