"""Which material for whom: how somebody rides, as weights on strength, mass and price.

Every part whose tube is compared gets three marks between 0 and 1: how light, how strong and
how affordable it is among the others. A mark is where its figure stands between the catalogue's
least and most (the extreme twentieths left out), by ratio: half the mass is as much better
from 2 kg as from 1 kg. A way of riding weighs the three; a family of materials is worth what
its middle part is worth. Parts whose figures cannot be true together are left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from statistics import median

import numpy as np

from fitgraph.explain.triangle import Corner, TubeFigures, doubtful, triangle, tube_figures
from fitgraph.graph.groupings import kind_of
from fitgraph.graph.options import length_of, plain
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Catalogue, Dimension, Option
from fitgraph.model.rider import Style
from fitgraph.records import dataclass
from fitgraph.solve import NamingError

#: Share of parts at either end that a mark does not look at.
_EXTREME = 0.05

#: Share of parts at either end that the sizes of a kind of tube leave out.
_RARE = 0.1


@dataclass(frozen=True, slots=True)
class Marks:
    """What a part reaches of light, strong and affordable, each from 0 to 1."""

    figures: TubeFigures
    light: float
    strong: float
    affordable: float

    def worth(self, style: Style) -> float:
        """Return the weighted mean of the three."""
        total = style.light + style.strong + style.affordable
        return (
            style.light * self.light
            + style.strong * self.strong
            + style.affordable * self.affordable
        ) / total


@dataclass(frozen=True, slots=True)
class Tube:
    """A kind of tube that parts of a family of materials come in.

    Parameters
    ----------
    kind : str
        Its name in the vocabulary's grouping; empty for any other.
    parts : int
        How many parts have it.
    sizes : mapping of str to tuple of float
        By the vocabulary's words for them, least and most in mm, the rarest tenths left out.
    wall_mm : float or None
        Thickness of the wall in the middle, where the dimensions told give one.
    """

    kind: str
    parts: int
    sizes: Mapping[str, tuple[float, float]]
    wall_mm: float | None


@dataclass(frozen=True, slots=True)
class FamilyAdvice:
    """A family of materials for a way of riding.

    Parameters
    ----------
    family : str
        The family.
    worth : float
        Median worth of its parts, from 0 to 1.
    corner : Corner
        Its medians, and which of the three it reaches.
    tubes : tuple of Tube
        The kinds of tube it comes in, the commonest first.
    best : tuple of TubeFigures
        Its best parts for this way of riding.
    say : str
        The trade's sentence on it.
    """

    family: str
    worth: float
    corner: Corner
    tubes: tuple[Tube, ...]
    best: tuple[TubeFigures, ...]
    say: str


@dataclass(frozen=True, slots=True)
class RiderAdvice:
    """Advice for a way of riding.

    Parameters
    ----------
    style : Style
        The weights, with what broken parts add.
    broken : bool
        Whether the rider has broken parts before.
    families : tuple of FamilyAdvice
        The best first.
    rule : str
        The catalogue's rule of thumb.
    weakest : str
        The family of the least median strength.
    why : tuple of str
        Sentences of the vocabulary on the style.
    """

    style: Style
    broken: bool
    families: tuple[FamilyAdvice, ...]
    rule: str
    weakest: str
    why: tuple[str, ...]


def _standing(values: Sequence[float], *, least: bool) -> list[float]:
    """Return where each value stands between worst (0) and best (1), by ratio."""
    logs = np.log(np.array(values, dtype=float))
    low, high = np.quantile(logs, [_EXTREME, 1 - _EXTREME])
    if high <= low:
        return [0.5] * len(values)
    place = np.clip((logs - low) / (high - low), 0.0, 1.0)
    return [float(x) for x in (1 - place if least else place)]


def marks(figures: Sequence[TubeFigures]) -> list[Marks]:
    """Return the three marks of every part."""
    light = _standing([f.mass_g for f in figures], least=True)
    strong = _standing([f.strength_nm for f in figures], least=False)
    affordable = _standing([float(f.price) for f in figures], least=True)
    return [Marks(*each) for each in zip(figures, light, strong, affordable, strict=True)]


def tubes(catalogue: Catalogue, family: str) -> tuple[Tube, ...]:
    """Return the kinds of tube that a family of materials comes in, the commonest first.

    Parameters
    ----------
    catalogue : Catalogue
        Its vocabulary names the dimensions to tell and how to group them (``[advice]``).
    family : str
        A family of materials.
    """
    advice, source = catalogue.vocabulary.advice, catalogue.vocabulary.strength
    if advice is None or source is None:
        return ()
    references = [r for r in advice.tell.values() if r.role == source.outside.role]
    found: dict[str, list[list[Dimension]]] = {}
    for part in catalogue.of(source.outside.role):
        material = MATERIALS.get(part.material or "")
        option = plain(part)
        sizes = [length_of(option, r) for r in references]
        known = [s for s in sizes if s is not None and s.known]
        if material is None or material.family != family or len(known) < len(references):
            continue
        found.setdefault(_kind(catalogue, option), []).append(known)
    walls = [n for n, r in enumerate(references) if r in (source.outside, source.bore)]
    words = [w for w, r in advice.tell.items() if r in references]
    made = [
        Tube(
            kind,
            len(rows),
            {
                w: (
                    float(np.quantile([row[n].lo for row in rows], _RARE)),
                    float(np.quantile([row[n].hi for row in rows], 1 - _RARE)),
                )
                for n, w in enumerate(words)
            },
            abs(median(row[walls[0]].mid - row[walls[1]].mid for row in rows)) / 2
            if len(walls) == 2
            else None,
        )
        for kind, rows in found.items()
    ]
    return tuple(sorted(made, key=lambda t: (-t.parts, t.kind)))


def _kind(catalogue: Catalogue, option: Option) -> str:
    """Return the kind of tube of a part, by the grouping that the vocabulary names."""
    advice = catalogue.vocabulary.advice
    grouping = catalogue.vocabulary.groups.get(advice.group) if advice is not None else None
    kind = None if grouping is None else kind_of(grouping, {option.role: option})
    return "" if kind is None else kind.name


def style_of(catalogue: Catalogue, name: str | None, *, broken: bool) -> Style:
    """Return the weights of a way of riding, with what broken parts add.

    Parameters
    ----------
    catalogue : Catalogue
        Its vocabulary has an ``[advice]`` table.
    name : str or None
        The way of riding; None for all alike.
    broken : bool
        Whether the rider has broken parts before.

    Raises
    ------
    NamingError
        If there is no such way of riding, or the vocabulary has no advice.
    """
    advice = catalogue.vocabulary.advice
    if advice is None:
        raise NamingError(
            "this catalogue has no advice; write an [advice] table into its vocabulary.toml "
            "(docs/catalogue.md)"
        )
    if name is None:
        style = Style("", 1.0, 1.0, 1.0)
    else:
        found = {n.casefold(): s for n, s in advice.styles.items()}.get(name.strip().casefold())
        if found is None:
            raise NamingError(f"no style is called {name!r}; use one of {', '.join(advice.styles)}")
        style = found
    more = advice.broken
    if not broken or more is None:
        return style
    return Style(
        style.name,
        style.light + more.light,
        style.strong + more.strong,
        style.affordable + more.affordable,
        style.say,
    )


def advise(
    catalogue: Catalogue, style: str | None = None, *, broken: bool = False, parts: int = 3
) -> RiderAdvice:
    """Return which material suits a way of riding, and why.

    Parameters
    ----------
    catalogue : Catalogue
        Its parts, and the ``[advice]`` table of its vocabulary.
    style : str, optional
        The way of riding.
    broken : bool
        Whether the rider has broken parts before: strength counts for more, and the family
        of the least strength goes last.
    parts : int
        How many parts to name of each family; those in stock go first.

    Returns
    -------
    RiderAdvice
        The families by worth. Strength compares plain tubes; it is no certificate.

    Raises
    ------
    NamingError
        If there is no such way of riding, or the vocabulary has no advice.
    """
    riding = style_of(catalogue, style, broken=broken)
    advice = catalogue.vocabulary.advice
    odd = doubtful(catalogue)
    sound = replace(
        catalogue,
        by_role={
            r: tuple(p for p in ps if p.sku not in odd) for r, ps in catalogue.by_role.items()
        },
    )
    corners = triangle(catalogue)
    if advice is None or not corners:
        raise NamingError(
            "no part of this catalogue has its tube, mass and price known, so there is nothing "
            "to compare; fill them in (docs/catalogue.md)"
        )
    each = marks(tube_figures(catalogue))
    weakest = min(corners, key=lambda f: corners[f].strength_nm)
    found = []
    for family, corner in corners.items():
        mine = [m for m in each if m.figures.family == family]
        best = sorted(
            mine,
            key=lambda m: (
                catalogue.parts[m.figures.sku].stock <= 0,
                -m.worth(riding),
                m.figures.sku,
            ),
        )
        found.append(
            FamilyAdvice(
                family,
                median(m.worth(riding) for m in mine),
                corner,
                tubes(sound, family),
                tuple(m.figures for m in best[:parts]),
                advice.say.get(family, ""),
            )
        )
    found.sort(key=lambda f: (broken and f.family == weakest, -f.worth, f.family))
    why = [riding.say] if riding.say else []
    if broken and advice.broken is not None and advice.broken.say:
        why.append(advice.broken.say)
    return RiderAdvice(riding, broken, tuple(found), advice.rule, weakest, tuple(why))
