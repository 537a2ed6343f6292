"""Stock numbers that open the cards of their parts (fitgraph/lab/card.py)."""

from __future__ import annotations

import re
from html import unescape

from markupsafe import Markup, escape

from fitgraph.model import Catalogue, Part
from fitgraph.report.as_html import MOST_WHOLE, in_sentences

_SPACED = re.compile(r"([\s,;:()]+)")

#: Signs that end a sentence and no stock number.
_ENDS = ".!?…"

#: So many digits without a comma between them are no figure of ours.
_MANY_DIGITS = 5


def _button(part: Part) -> Markup:
    """Return a stock number that opens the card of its part."""
    kind = "fg-sku" if len(part.sku) <= MOST_WHOLE else "fg-sku fg-long"
    title = Markup(' title="{}"').format(part.name) if part.name else Markup("")
    return Markup('<button type="button" class="{0}" data-sku="{1}"{2}>{1}</button>').format(
        kind, part.sku, title
    )


def _is_number(word: str) -> bool:
    """Return whether a word can only be a stock number, not a word or a figure."""
    digits = sum(sign.isdigit() for sign in word)
    return digits > 0 and (digits >= _MANY_DIGITS or any(sign.isalpha() for sign in word))


def with_cards(markup: str, catalogue: Catalogue) -> str:
    """Return markup in which every stock number of the catalogue opens its part's card.

    Parameters
    ----------
    markup : str
        Escaped sentences and tables. Drawings, links and buttons stay as they are.
    catalogue : Catalogue
        Whose parts there are.
    """

    def meant(text: str) -> Part | None:
        return catalogue.parts.get(text) if _is_number(text) else None

    def word(text: str) -> Markup:
        part = meant(text) or meant(text.rstrip(_ENDS))
        if part is None:
            return escape(text)
        end = text[len(part.sku) :]
        held = Markup('<span class="fg-held">{}{}</span>') if end else Markup("{}")
        return held.format(_button(part), end)

    def sentence(text: str) -> str:
        pieces = _SPACED.split(unescape(text))  # words at even places, what parts them between
        made = [word(piece) for piece in pieces]
        said = pieces[0]
        for n in range(2, len(pieces), 2):
            part = meant(pieces[n])
            behind = pieces[n + 1] if n + 1 < len(pieces) else ""
            # A number in brackets behind its part's name is as small as in a table.
            bracketed = pieces[n - 1] == " (" and behind.startswith(")")
            if part and part.name and bracketed and said.endswith(part.name):
                made[n - 1], made[n + 1] = escape(" "), escape(behind[1:])
                small = Markup('<small class="fg-code fg-note fg-small">({})</small>')
                made[n] = small.format(_button(part))
            said += pieces[n - 1] + pieces[n]
        return "".join(made)

    return in_sentences(markup, sentence)
