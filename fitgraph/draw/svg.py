"""Elements of an SVG drawing; whatever text goes in comes out as text, never as markup."""

from __future__ import annotations

import textwrap
import xml.etree.ElementTree as ET
from collections.abc import Iterable

from fitgraph.plain import plain
from fitgraph.wording import FIGURE

#: Stands for a space while a text is folded.
_STAYS = "\u00a0"

#: Spaces that keep lines and figures together stay.
_SPACES = "\t\n\r\u00a0\u2007\u2009\u202f"


def clean(text: str) -> str:
    """Return a text without what a screen obeys; XML forbids part of that (1.0, section 2.2).

    Examples
    --------
    >>> clean("a\\x00b")
    'a b'
    """
    return plain(text, keep=_SPACES)


def shorten(text: str, most: int) -> str:
    """Return a text of at most `most` characters.

    Examples
    --------
    >>> shorten("a long name", 6)
    'a lon…'
    """
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def folded(text: str, letters: int, lines: int) -> list[str]:
    """Return a text in so many lines at most, of so many characters each.

    Stock numbers are not broken at their hyphens, and no figure is cut from its limits and its
    unit.

    Examples
    --------
    >>> folded("a name of several words", 8, 2), folded("collar CLMP-SKE-02", 13, 2)
    (['a name', 'of seve…'], ['collar', 'CLMP-SKE-02'])
    >>> folded("clearance 0.05 to 0.25 mm", 22, 2), folded("bore 25.50 ±0.05, slot", 12, 3)
    (['clearance 0.05 to', '0.25 mm'], ['bore', '25.50 ±0.05,', 'slot'])
    """
    whole = FIGURE.sub(lambda found: found[0].replace(" ", _STAYS), text)
    lines_of = textwrap.wrap(whole, letters, break_on_hyphens=False) or [""]
    found = [line.replace(_STAYS, " ") for line in lines_of]
    if len(found) <= lines:
        return found
    return [*found[: lines - 1], shorten(" ".join(found[lines - 1 :]), letters)]


def number(value: float) -> str:
    """Return a coordinate, to a ten-thousandth.

    Examples
    --------
    >>> number(2.50), number(-0.0)
    ('2.5', '0')
    """
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def element(tag: str, *children: ET.Element | str, **attributes: float | str) -> ET.Element:
    """Return an element; in attribute names an underscore stands for a hyphen.

    Parameters
    ----------
    tag : str
        Its name.
    *children : Element or str
        What stands in it; a text only as the first.
    **attributes : float or str
        ``klass`` is written ``class``.
    """
    made = ET.Element(tag)
    for name, value in attributes.items():
        name = "class" if name == "klass" else name.replace("_", "-")
        made.set(name, clean(value) if isinstance(value, str) else number(value))
    for child in children:
        if isinstance(child, str):
            made.text = clean(child)
        else:
            made.append(child)
    return made


def text_lines(
    lines: Iterable[str], x: float, y: float, step: float, **attributes: float | str
) -> list[ET.Element]:
    """Return lines of text under one another, the first at a place."""
    return [element("text", t, x=x, y=y + step * n, **attributes) for n, t in enumerate(lines)]


def badge(x: float, y: float, sign: str, klass: str, radius: float = 8) -> tuple[ET.Element, ...]:
    """Return a sign in a circle."""
    return (
        element("circle", cx=x, cy=y, r=radius, klass="fg-void fg-edge"),
        element("text", sign, x=x, y=y + 4, text_anchor="middle", klass=f"fg-strong {klass}"),
    )


def scale_bar(
    length: float, per_mm: float, x: float, y: float, half: float, more: str = "", klass: str = ""
) -> tuple[ET.Element, ...]:
    """Return a line as long as so many mm are drawn, with its length behind it.

    Parameters
    ----------
    length : float
        In mm.
    per_mm : float
        Units of the drawing for each.
    x, y : float
        Where it begins.
    half : float
        Half the height of its ends.
    more : str
        Said behind the length.
    klass : str
        Of its words.
    """
    end = x + length * per_mm
    ends = (f"M{number(at)} {number(y - half)}V{number(y + half)}" for at in (x, end))
    line = f"M{number(x)} {number(y)}H{number(end)}"
    return (
        element("path", d=f"{''.join(ends)}{line}", klass="fg-rule"),
        element("text", f"{length:g} mm{more}", x=end + 6, y=y + 4, klass=klass),
    )


def write(root: ET.Element) -> str:
    """Return a drawing as text, ready for a file or to stand in a page."""
    root.set("xmlns", "http://www.w3.org/2000/svg")
    return ET.tostring(root, encoding="unicode")
