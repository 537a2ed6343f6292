"""An answer to keep: files of it, as PDF and as a page with its drawings."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from html import unescape

from fitgraph.explain import Explanation, Prefer
from fitgraph.lab.saves import SavedFile
from fitgraph.model import Catalogue, split_label
from fitgraph.report import as_html, explanations
from fitgraph.report.as_pdf import pdf
from fitgraph.report.blocks import Picture, Report, Section
from fitgraph.report.hints import Hints

#: Where the rest is of what a sheet has no room for.
_HINTS = Hints(rest="the page this was saved from, or fitgraph why --json")


def told_by(svg: str) -> str:
    """Return what a drawing says of itself for those who cannot see it."""
    found = re.search("<desc[^>]*>(.*?)</desc>", svg, re.DOTALL)
    return "" if found is None else unescape(found[1])


def answer_title(said: Explanation, catalogue: Catalogue) -> str:
    """Return what an answer is about: its parts by name and number."""
    names = []
    for label in said.named:
        sku, _ = split_label(label)
        part = catalogue.parts.get(sku)
        names.append(f"{part.name} ({label})" if part is not None and part.name else label)
    return ", ".join(names)


def answer_report(
    said: Explanation, catalogue: Catalogue, pictures: Sequence[tuple[str, str]] = ()
) -> Report:
    """Return what is kept of an answer.

    Parameters
    ----------
    said : Explanation
        The answer, with its changes.
    catalogue : Catalogue
        Whose parts it is about.
    pictures : sequence of (str, str)
        Headings and drawings.
    """
    found = explanations.report(said, catalogue, Prefer.OWNED, _HINTS)
    drawn = tuple(Section(head, (Picture(svg, told_by(svg)),)) for head, svg in pictures if svg)
    return replace(found, blocks=(*found.blocks, *drawn))


def saved_files(
    said: Explanation, catalogue: Catalogue, pictures: Sequence[tuple[str, str]] = ()
) -> dict[str, Callable[[], SavedFile]]:
    """Return what makes the files of an answer; parameters as of :func:`answer_report`."""
    title = answer_title(said, catalogue)
    return files_of_report(title, lambda: answer_report(said, catalogue, pictures))


def files_of_report(
    title: str,
    make: Callable[[], Report],
    name: str = "answer",
    first: str = "Save this answer (PDF)",
) -> dict[str, Callable[[], SavedFile]]:
    """Return what makes the files of a report, by what a button says.

    Parameters
    ----------
    title : str
        What it is about.
    make : callable
        Makes the report; called when a file is asked for.
    name : str
        Of the files, without an ending.
    first : str
        What the first button says, which is that of the PDF.
    """

    def paper() -> SavedFile:
        return SavedFile(f"{name}.pdf", "application/pdf", pdf(make(), title))

    def page() -> SavedFile:
        return SavedFile(f"{name}.html", "text/html", as_html.page(make(), title).encode())

    return {first: paper, "as a page": page}
