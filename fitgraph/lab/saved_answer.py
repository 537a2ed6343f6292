"""An answer to keep: files of it, as PDF and as a page with its drawings."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from html import unescape

from fitgraph.explain import Explanation, Prefer
from fitgraph.lab.saves import SavedFile
from fitgraph.model import Catalogue, Option, Vocabulary
from fitgraph.report import as_html, explanations
from fitgraph.report.as_csv import csv
from fitgraph.report.as_pdf import pdf
from fitgraph.report.blocks import Picture, Report, Section
from fitgraph.report.build_sheet import BuildSheet, sheet_report, sheet_table
from fitgraph.report.hints import Hints

#: Where the rest is of what a sheet has no room for.
_HINTS = Hints(rest="the page this was saved from, or fitgraph why --json")


def told_by(svg: str) -> str:
    """Return what a drawing says of itself for those who cannot see it."""
    found = re.search("<desc[^>]*>(.*?)</desc>", svg, re.DOTALL)
    return "" if found is None else unescape(found[1])


def saved_files(
    said: Explanation, catalogue: Catalogue, pictures: Mapping[str, Picture]
) -> dict[str, Callable[[], SavedFile]]:
    """Return what makes the files of an answer.

    Parameters
    ----------
    said : Explanation
        The answer, with its changes.
    catalogue : Catalogue
        Whose parts it is about.
    pictures : mapping of str to Picture
        Drawings that go with it, by their headings.
    """

    def report() -> Report:
        found = explanations.report(said, catalogue, Prefer.OWNED, _HINTS)
        drawn = (
            Section(head, (Picture(one.svg, told_by(one.svg)),)) for head, one in pictures.items()
        )
        return replace(found, blocks=(*found.blocks, *drawn))

    return files_of_report(", ".join(map(catalogue.called, said.named)), report)


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


def sheet_files(
    sheet: BuildSheet, options: Mapping[str, Option], vocabulary: Vocabulary, name: str, first: str
) -> dict[str, Callable[[], SavedFile]]:
    """Return what makes the files of a sheet, by what a button says.

    Parameters
    ----------
    sheet, options, vocabulary
        As of :func:`sheet_report`.
    name : str
        Of the files, without an ending.
    first : str
        What the first button says, which is that of the PDF.
    """

    def rows() -> SavedFile:
        made = sheet_table(sheet, vocabulary).with_currency()
        return SavedFile(f"{name}.csv", "text/csv", csv(made).encode())

    def report() -> Report:
        return sheet_report(sheet, options, vocabulary)

    return files_of_report(sheet.title, report, name, first) | {"as CSV": rows}
