"""How far an enquiry is met, as people read it: a sign and a word."""

from __future__ import annotations

from collections.abc import Mapping

from fitgraph.report.values import SHARE, Signed
from fitgraph.stock import Standing, StandingTally
from fitgraph.wording import plural

#: The word and the sign for each standing; both always stand together.
WORDS: Mapping[Standing, str] = {
    Standing.STOCK: "from stock",
    Standing.CATALOGUE: "from the catalogue",
    Standing.POSSIBLY: "cannot tell",
    Standing.NEITHER: "neither",
}
SIGNS: Mapping[Standing, str] = {
    Standing.STOCK: "✓",
    Standing.CATALOGUE: "→",
    Standing.POSSIBLY: "?",
    Standing.NEITHER: "✗",
}

#: What each says there is.
MEANS: Mapping[Standing, str] = {
    Standing.STOCK: "a certain build of what is owned and in stock",
    Standing.CATALOGUE: "one with parts that are sold, but have to be ordered",
    Standing.POSSIBLY: "only if an unknown or loose figure turns out well",
    Standing.NEITHER: "not even then, within budget, mass and material",
}
#: In the order in which they are told.
ORDER = tuple(sorted(Standing, reverse=True))


def signed(standing: Standing) -> Signed:
    """Return a standing as pages show it."""
    return Signed(SIGNS[standing], WORDS[standing])


def of_all(count: float, total: float) -> str:
    """Return how many enquiries of all that are asked, and their share.

    Examples
    --------
    >>> of_all(117, 301), of_all(1, 1)
    ('117 of 301 enquiries (39%)', '1 of 1 enquiry (100%)')
    """
    share = SHARE.show(count / total if total else 0.0)
    return f"{count:g} of {plural(total, 'enquiry', 'enquiries')} ({share})"


def tally_text(tally: StandingTally) -> str:
    """Return all numbers of a tally in words.

    Examples
    --------
    >>> tally_text(StandingTally((1.0, 0.0, 2.0, 5.0)))
    '8 asked: 5 from stock, 2 from the catalogue, 1 neither'
    """
    told = [f"{tally.of(s):g} {WORDS[s]}" for s in ORDER if tally.of(s)]
    return f"{tally.total:g} asked: {', '.join(told)}" if told else "nothing asked"
