"""The root of a drawing: its title, what it says in words, and the style sheet that it brings."""

from __future__ import annotations

import hashlib
import xml.etree.ElementTree as ET

from fitgraph.draw.style import drawing_css, theme_css
from fitgraph.draw.svg import element, number


def identity_of(content: str) -> str:
    """Return a name for a drawing, the same wherever the same is drawn."""
    return "fg" + hashlib.sha256(content.encode("utf-8", "replace")).hexdigest()[:10]


def drawing(
    title: str,
    told: str,
    *children: ET.Element,
    size: tuple[float, float],
    identity: str,
    css: str = "",
    klass: str = "",
    role: str = "img",
    **attributes: float | str,
) -> ET.Element:
    """Return an empty drawing.

    Parameters
    ----------
    title, told : str
        What it is, and what it says, for those who do not see it.
    *children : Element
        What stands before all that is drawn, such as patterns.
    size : tuple of float
        Width and height of its view box.
    identity : str
        From :func:`identity_of`.
    css : str
        Rules beside those of all drawings.
    klass : str
        A class of its own.
    role : str
        ``img``, or ``group`` where something in it can be pressed.
    **attributes : float or str
        Of the root.
    """
    return element(
        "svg",
        element("title", title, id=f"{identity}-t"),
        element("desc", told, id=f"{identity}-d"),
        element("style", theme_css() + drawing_css() + css),
        *children,
        klass=f"fg fg-svg {klass}".rstrip(),
        role=role,
        aria_labelledby=f"{identity}-t",
        aria_describedby=f"{identity}-d",
        viewBox=f"0 0 {number(size[0])} {number(size[1])}",
        **attributes,
    )
