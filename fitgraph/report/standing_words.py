"""How far an enquiry is met, as people read it: a sign and a word."""

from __future__ import annotations

from collections.abc import Mapping

from fitgraph.report.values import Signed
from fitgraph.stock import Standing, StandingTally

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


def tally_text(tally: StandingTally) -> str:
    """Return all numbers of a tally in words.

    Examples
    --------
    >>> tally_text(StandingTally((1.0, 0.0, 2.0, 5.0)))
    '8 asked: 5 from stock, 2 from the catalogue, 1 neither'
    """
    told = [f"{tally.of(s):g} {WORDS[s]}" for s in ORDER if tally.of(s)]
    return f"{tally.total:g} asked: {', '.join(told)}" if told else "nothing asked"
