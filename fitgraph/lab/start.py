"""The start page: which catalogue is open, how it is, and where to go."""

from __future__ import annotations

from html import escape
from pathlib import Path

import ipywidgets as widgets

from fitgraph.catalogue import CatalogueError
from fitgraph.draw.doors import door_svg
from fitgraph.lab import tables
from fitgraph.lab.answering import Answering
from fitgraph.lab.chosen import choose
from fitgraph.lab.leads import PAGES, page_link
from fitgraph.lab.look import field_layout, heading, html, row, style
from fitgraph.lab.opened import OpenCatalogue, open_catalogue
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Door:
    """A way into the pages.

    Parameters
    ----------
    name : str
        Of its picture.
    title, sentence : str
        What is done there.
    page : str
        The first page.
    more : tuple of (str, str)
        Further pages: words, and which.
    """

    name: str
    title: str
    sentence: str
    page: str
    more: tuple[tuple[str, str], ...] = ()


#: The ways in, in the order of how often they are gone.
DOORS = (
    Door(
        "counter",
        "At the counter",
        "Somebody stands opposite: what they have, what they want, what fits, and what to tell "
        "them.",
        "counter",
        (
            ("what can be built", "builds"),
            ("why it does not fit", "why"),
        ),
    ),
    Door(
        "stock",
        "Stock",
        "Who cannot be served, what lies on the shelf without a use, and what to order.",
        "gaps",
    ),
    Door(
        "design",
        "Design",
        "The part worth making next, with its sizes, its sheet and whom it would serve.",
        "adapters",
        (("the map of fits", "map"),),
    ),
    Door(
        "practice",
        "Practice",
        "Learn how fitment works, then answer rounds of five questions.",
        "practice",
        (("how fitment works", "lesson"),),
    ),
)

_CSS = (
    ".fg-doors{display:grid;gap:12px;"
    "grid-template-columns:repeat(auto-fit,minmax(min(230px,100%),1fr));margin:.4em 0 1em}\n"
    ".fg-door{border:1px solid var(--fg-line);border-radius:8px;background:var(--fg-paper);"
    "display:flex;flex-direction:column}\n"
    ".fg-door:hover,.fg-door:focus-within{border-color:var(--fg-fits);"
    "box-shadow:0 0 0 1px var(--fg-fits)}\n"
    ".fg-html .fg-door>a{display:block;padding:14px 16px 4px;color:var(--fg-ink);"
    "text-decoration:none;flex:1}\n"
    ".fg-html .fg-door>a:hover strong{text-decoration:underline}\n"
    ".fg-door-picture{display:block;width:120px;height:76px;margin-bottom:8px}\n"
    ".fg-door strong{display:block;font-size:18px;margin-bottom:4px;color:var(--fg-fits)}\n"
    ".fg-door p.fg-note{margin:0;padding:4px 16px 12px;min-height:1.5em}\n"
)


def doors_html() -> str:
    """Return the doors: a picture, a title and a sentence each, and the pages beside it."""
    drawn = []
    for door in DOORS:
        more = ", ".join(page_link(page, words) for words, page in door.more)
        drawn.append(
            f'<li class="fg-door"><a href="{PAGES[door.page]}">{door_svg(door.name)}'
            f"<strong>{escape(door.title)}</strong>{escape(door.sentence)}</a>"
            f'<p class="fg-note">{"Also: " + more if more else ""}</p></li>'
        )
    return (
        f"<style>{_CSS}.fg-html ul.fg-doors{{list-style:none;padding:0}}</style>"
        f'<ul class="fg-doors">{"".join(drawn)}</ul>'
    )


class Start(Answering):
    """Doors to the pages, and the catalogue that they are about.

    Parameters
    ----------
    opened : OpenCatalogue
        A catalogue that :func:`fitgraph.lab.open_catalogue` has opened.
    """

    invites = "see the doors"

    def __init__(self, opened: OpenCatalogue) -> None:
        super().__init__()
        self.opened = opened
        self.health, self.message = html(), html()
        self.folder = widgets.Text(
            description="Folder",
            placeholder="path of a catalogue folder; empty for the demo",
            continuous_update=False,
            style={"description_width": "8.5em"},
            layout=field_layout(),
        )
        self.folder.layout.flex, self.folder.layout.max_width = "1 1 22em", "100%"
        self.folder.layout.min_width = "0"
        self.open = widgets.Button(
            description="Open it",
            tooltip="Open this folder for all pages",
            layout=widgets.Layout(width="auto"),
        )
        self.open.on_click(lambda _: self.take())
        self.children = (
            style(self),
            self.health,
            html(tables.wrap(doors_html())),
            heading("Another catalogue"),
            html(
                tables.wrap(
                    f"<p>{page_link('own', 'Make one of your own list')}: a spreadsheet, a price "
                    "list or a database. Or open a folder:</p>"
                )
            ),
            row([self.folder, self.open]),
            self.message,
        )
        self._tell()

    def _tell(self) -> None:
        """Say which catalogue is open, and in one line how it is."""
        with self.in_words(self.health):
            shop = self.opened.shop
            where = "the demo that comes with fitgraph" if shop.folder is None else shop.folder
            found = shop.check()
            told = found.report().headline
            listed = "".join(f"<li>{escape(str(f))}</li>" for f in self.opened.findings)
            more = (
                f"<details><summary>What to look at, and how to mend it</summary>"
                f"<ul>{listed}</ul></details>"
                if listed
                else ""
            )
            self.health.value = tables.wrap(
                f'<p role="status"><strong>{escape(told)}</strong> '
                f'<span class="fg-note">{escape(str(where))}</span></p>{more}'
            )

    def take(self) -> None:
        """Open the folder that is typed, for this page and all that are opened from now on."""
        with self.in_words(self.message):
            typed = self.folder.value.strip()
            folder = Path(typed).expanduser().absolute() if typed else None
            try:
                self.opened = open_catalogue(folder, demo=folder is None)
            except CatalogueError as error:
                self.message.value = tables.wrap(tables.alert(f"{error}"))
                return
            shared = choose(folder)
            told = (
                "Opened. Pages that you open from now on are about it."
                if shared
                else "It can be used. In a notebook, write its path into open_catalogue(...)."
            )
            self.message.value = tables.wrap(tables.status(told))
            self._tell()
