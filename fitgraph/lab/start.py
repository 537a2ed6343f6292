"""The start page: which catalogue is open, how it is, and where to go."""

from __future__ import annotations

from pathlib import Path

from markupsafe import Markup

from fitgraph.draw.doors import door_svg
from fitgraph.lab.answering import Answering
from fitgraph.lab.chosen import choose
from fitgraph.lab.leads import PAGES, page_link
from fitgraph.lab.look import button, heading, html, in_row, row, style, text_field
from fitgraph.lab.opened import OpenCatalogue, open_catalogue
from fitgraph.lab.shown import shown
from fitgraph.records import dataclass
from fitgraph.report.blocks import Say, Section, Tone, status


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
    ".fg-html ul.fg-doors{list-style:none;padding:0}"
)


def _door(door: Door) -> Markup:
    """Return a door: a picture, a title and a sentence, and the pages beside it."""
    more = Markup(", ").join(page_link(page, words) for words, page in door.more)
    return Markup(
        '<li class="fg-door"><a href="{}">{}<strong>{}</strong>{}</a>'
        '<p class="fg-note">{}{}</p></li>'
    ).format(
        PAGES[door.page],
        Markup(door_svg(door.name)),
        door.title,
        door.sentence,
        "Also: " * bool(more),
        more,
    )


def doors() -> Markup:
    """Return the doors with their style."""
    style = Markup("<style>{}</style>").format(Markup(_CSS))
    listed = Markup("").join(map(_door, DOORS))
    return style + Markup('<ul class="fg-doors">{}</ul>').format(listed)


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
        self.folder = in_row(
            text_field(
                "Folder",
                "path of a catalogue folder; empty for the demo",
                continuous_update=False,
            )
        )
        self.open = button("Open it", self.take, tooltip="Open this folder for all pages")
        own = Markup("<p>{}: a spreadsheet, a price list or a database. Or open a folder:</p>")
        self.children = (
            style(self),
            self.health,
            html(shown(doors())),
            heading("Another catalogue"),
            html(shown(own.format(page_link("own", "Make one of your own list")))),
            row([self.folder, self.open]),
            self.message,
        )
        self._tell()

    def _tell(self) -> None:
        """Say which catalogue is open, and in one line how it is."""
        with self.in_words(self.health):
            shop = self.opened.shop
            where = "the demo that comes with fitgraph" if shop.folder is None else shop.folder
            found = shop.check().report()
            told = Say("", Tone.STATUS, lead=found.headline, aside=str(where))
            more = Section("What to look at, and how to mend it", found.blocks, folded=True)
            self.write(self.health, *((told, more) if found.blocks else (told,)))

    def take(self) -> None:
        """Open the folder that is typed, for this page and all that are opened from now on."""
        with self.in_words(self.message):
            typed = self.folder.value.strip()
            folder = Path(typed).expanduser().absolute() if typed else None
            self.opened = open_catalogue(folder, demo=folder is None)
            told = "It can be used. In a notebook, write its path into open_catalogue(...)."
            if choose(folder):
                told = "Opened. Pages that you open from now on are about it."
            self.write(self.message, status(told))
            self._tell()
