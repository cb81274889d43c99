"""Pictures of pages: wide, on a phone, each printed sheet of A4, and all of them on one contact sheet.

``python -m tests.report.pictures PAGES PICTURES`` takes them of one page or of every page of a folder; PICTURES is a
folder of your own, nothing of it is committed. ``contact.html`` and ``contact.png`` in it show all of them, small.
Printed sheets need ``pdftoppm`` (part of Poppler); without it the PDF alone is left, and that is said.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from pathlib import Path
from typing import Any

from tests.report.browser import browser

WIDTHS = {"wide": 1280, "phone": 360}
DOTS_PER_INCH = 80
LOOK = (
    "body { font: 14px sans-serif; margin: 16px; } figure { display: inline-block; margin: 0 12px 16px 0;"
    " vertical-align: top; } img { height: 300px; border: 1px solid #999; } figcaption { font-size: 12px; }"
)


def take_pictures(page_file: Path, out: Path, running: Any) -> Iterator[Path]:
    """Take the pictures of one page.

    Parameters
    ----------
    page_file : Path
        The page.
    out : Path
        Folder of the pictures.
    running : playwright Browser
        The browser.

    Yields
    ------
    Path
        Each picture, once it is there: wide, phone, then the printed sheets in order.
    """
    for name, width in WIDTHS.items():
        page = running.new_page(viewport={"width": width, "height": 900})
        page.goto(page_file.resolve().as_uri())
        picture = out / f"{page_file.stem}-{name}.png"
        page.screenshot(path=picture, full_page=True)
        yield picture
        if name == "wide":
            printed = out / f"{page_file.stem}-print.pdf"
            page.pdf(path=printed, format="A4", print_background=True)
        page.close()
    yield from _sheets(printed)


def _sheets(printed: Path) -> list[Path]:
    """One picture for each sheet of a PDF."""
    if not shutil.which("pdftoppm"):
        return []
    for old in printed.parent.glob(f"{printed.stem}-*.png"):
        old.unlink()
    subprocess.run(["pdftoppm", "-r", str(DOTS_PER_INCH), "-png", printed, printed.with_suffix("")], check=True)
    return sorted(printed.parent.glob(f"{printed.stem}-*.png"))


def contact_sheet(taken: Mapping[str, Sequence[Path]], out: Path, running: Any) -> None:
    """Show all pictures of all pages, small, as a page and as a picture of that page."""
    parts = []
    for name, pictures in taken.items():
        shown = "".join(
            f'<figure><a href="{escape(each.name)}"><img src="{escape(each.name)}" alt="{escape(each.stem)}"></a>'
            f"<figcaption>{escape(each.stem.removeprefix(f'{name}-'))}</figcaption></figure>"
            for each in pictures
        )
        parts.append(f"<h2>{escape(name)}</h2>{shown}")
    head = f'<!DOCTYPE html><html lang="en"><meta charset="utf-8"><title>Pictures</title><style>{LOOK}</style>'
    (out / "contact.html").write_text(f"{head}<h1>Pictures of {len(taken)} pages</h1>{''.join(parts)}", "utf-8")
    page = running.new_page(viewport={"width": 1600, "height": 900})
    page.goto((out / "contact.html").resolve().as_uri())
    page.screenshot(path=out / "contact.png", full_page=True)
    page.close()


def main(pages: Path, out: Path) -> int:
    """Take pictures of a page, or of all pages of a folder, and name each as it is made."""
    files = sorted(pages.glob("*.html")) if pages.is_dir() else [pages]
    if not files or not files[0].is_file():
        print(f"No page in {pages}.", file=sys.stderr)
        return 2
    out.mkdir(parents=True, exist_ok=True)
    taken: dict[str, list[Path]] = {}
    with browser() as running:
        for file in files:
            taken[file.stem] = []
            for picture in take_pictures(file, out, running):
                print(picture)
                taken[file.stem].append(picture)
        contact_sheet(taken, out, running)
    print(out / "contact.html")
    if not shutil.which("pdftoppm"):
        print("No pdftoppm on this machine: printed sheets are left as PDF alone.")
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2])))
