"""Parts by whatever somebody remembers of them: number, name, maker, material, role or size."""

from __future__ import annotations

import re

from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Catalogue, Part
from fitgraph.units import UnitError, parse_length

#: A size that is typed may be off by so much from what a part has [mm].
NEAR_MM = 0.05

#: The gap between a figure and its unit, which are one word.
_GAP = re.compile(r"(?<=\d)\s+(?=(?:mm|cm|in|inch|inches)(?:\s|$))")


def _told(part: Part, catalogue: Catalogue) -> str:
    material = MATERIALS.get(part.material) if part.material else None
    family = "" if material is None else f"{material.family} {part.material}"
    role = catalogue.vocabulary.roles[part.role].title
    return f"{part.sku} {part.name} {part.maker} {family} {role}".casefold()


def _size(word: str) -> float | None:
    try:
        return parse_length(word)
    except UnitError:
        return None


def _has_size(part: Part, size: float) -> bool:
    return any(
        d.lo - NEAR_MM <= size <= d.hi + NEAR_MM
        for feature in part.features.values()
        for d in feature.lengths.values()
        if abs(d.hi - d.lo) < size
    )


def search_parts(
    catalogue: Catalogue, text: str, limit: int = 8, role: str = ""
) -> tuple[Part, ...]:
    """Return the parts that all the words mean.

    Parameters
    ----------
    catalogue : Catalogue
        Where they are looked for.
    text : str
        Words in any order; a number is looked for among sizes [mm] as well.
    limit : int
        How many at most; those whose stock number begins so come first, then those on the shelf.
    role : str
        Only parts of this role; without a word, all of them.

    Examples
    --------
    >>> import fitgraph
    >>> [p.sku for p in search_parts(fitgraph.open().catalogue, "bar mar 05")]
    ['BAR-MAR-05']
    """
    words = _GAP.sub("", text.casefold()).split()
    if not words and not role:
        return ()
    sizes = {word: _size(word) for word in words}
    written = {
        word: re.compile(rf"(?<![\d.]){re.escape(f'{size:g}')}(?![\d.])")
        for word, size in sizes.items()
        if size is not None
    }

    def means(part: Part) -> bool:
        told = _told(part, catalogue)
        return all(
            word in told
            or (
                (size := sizes[word]) is not None
                and (written[word].search(told) is not None or _has_size(part, size))
            )
            for word in words
        )

    looked_at = catalogue.of(role) if role else catalogue.parts.values()
    found = [part for part in looked_at if means(part)]
    whole = text.strip().casefold()
    found.sort(key=lambda p: (not p.sku.casefold().startswith(whole), p.stock <= 0))
    return tuple(found[:limit])
