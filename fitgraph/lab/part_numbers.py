"""Stock numbers that open the cards of their parts (fitgraph/lab/card.py)."""

from __future__ import annotations

import re
from html import escape, unescape

from fitgraph.model import Catalogue
from fitgraph.report.as_html import MOST_WHOLE, in_sentences

_SPACED = re.compile(r"([\s,;:()]+)")

#: Signs that end a sentence and no stock number.
_ENDS = ".!?…"

#: So many digits without a comma between them are no figure of ours.
_MANY_DIGITS = 5


def sku_html(sku: str, name: str = "") -> str:
    """Return a stock number that opens the card of its part."""
    title = f' title="{escape(name)}"' if name else ""
    kind = "fg-sku" if len(sku) <= MOST_WHOLE else "fg-sku fg-long"
    return (
        f'<button type="button" class="{kind}" data-sku="{escape(sku)}"{title}>'
        f"{escape(sku)}</button>"
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

    def word(text: str) -> str:
        bare = text.rstrip(_ENDS)
        for sku in (text, bare):
            part = catalogue.parts.get(sku) if _is_number(sku) else None
            if part is not None:
                number, end = sku_html(sku, part.name), escape(text[len(sku) :])
                return f'<span class="fg-held">{number}{end}</span>' if end else number
        return escape(text)

    def sentence(text: str) -> str:
        pieces = _SPACED.split(unescape(text))  # words at even places, what parts them between
        made = [word(piece) for piece in pieces]
        said = pieces[0]
        for n in range(2, len(pieces), 2):
            part = catalogue.parts.get(pieces[n]) if _is_number(pieces[n]) else None
            behind = pieces[n + 1] if n + 1 < len(pieces) else ""
            # A number in brackets behind its part's name is as small as in a table.
            bracketed = pieces[n - 1] == " (" and behind.startswith(")")
            if part and part.name and bracketed and said.endswith(part.name):
                number = sku_html(part.sku, part.name)
                made[n - 1], made[n + 1] = " ", escape(behind[1:])
                made[n] = f'<small class="fg-code fg-note fg-small">({number})</small>'
            said += pieces[n - 1] + pieces[n]
        return "".join(made)

    return in_sentences(markup, sentence)
