"""Letters for print: those every PDF reader has, else an embedded font, else plain letters.

The fonts that a reader brings know the letters of ISO 8859-1. Names in other letters need a
font inside the file; one is taken that lies on this computer, nothing is fetched. What no font
here has is written with the plain letters under it, and the sheet says so.
"""

from __future__ import annotations

import sys
import unicodedata
from collections.abc import Callable
from dataclasses import field
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from fontTools.ttLib import TTFont
from fpdf import FPDF

from fitgraph.draw.svg import clean
from fitgraph.records import dataclass

#: The font of every reader, and the name an embedded one goes by.
_OWN, _EMBEDDED = "Helvetica", "lettering"

#: Signs that have a stand-in among the letters of ISO 8859-1; dashes and quotes look alike.
_ALIKE = str.maketrans(
    {"–": "-", "−": "-", "…": "...", "’": "'", "‘": "'", "“": '"', "”": '"', "•": "-"}
)

#: Letters without a plain one under them in Unicode's tables.
_PLAIN = str.maketrans(
    {
        "ł": "l",
        "Ł": "L",
        "đ": "d",
        "Đ": "D",
        "ħ": "h",
        "Ħ": "H",
        "ı": "i",
        "œ": "oe",
        "Œ": "OE",
        "„": '"',
        "≤": "<=",
        "≥": ">=",
        "≠": "is not",
    }
)

#: Pairs of a regular and a bold font, where systems and plotting libraries keep them.
_FILES = (
    ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"),
    ("LiberationSans-Regular.ttf", "LiberationSans-Bold.ttf"),
    ("NotoSans-Regular.ttf", "NotoSans-Bold.ttf"),
    ("arial.ttf", "arialbd.ttf"),
    ("Arial.ttf", "Arial Bold.ttf"),
)

#: Said on a sheet that could not show a name as it is written.
WRITTEN_PLAINLY = (
    "This print has no letters for some names, so they are written plainly; the HTML page shows "
    "them as they are."
)


def _folders() -> list[Path]:
    found = []
    plots = find_spec("matplotlib")
    if plots is not None and plots.origin is not None:
        found.append(Path(plots.origin).parent / "mpl-data" / "fonts" / "ttf")
    home = Path.home()
    if sys.platform == "win32":
        found.append(Path("C:/Windows/Fonts"))
    elif sys.platform == "darwin":
        found += [Path("/Library/Fonts"), Path("/System/Library/Fonts/Supplemental")]
    else:
        roots = [Path("/usr/share/fonts"), Path("/usr/local/share/fonts"), home / ".fonts"]
        for root in roots:
            found += [root, *(root.glob("*")), *(root.glob("*/*"))]
    return [f for f in found if f.is_dir()]


@cache
def find_font() -> tuple[Path, Path] | None:
    """Return a regular and a bold font file on this computer, None without one."""
    for folder in _folders():
        for regular, bold in _FILES:
            if (folder / regular).is_file():
                strong = folder / bold
                return folder / regular, strong if strong.is_file() else folder / regular
    return None


@cache
def _letters_of(file: Path) -> frozenset[int]:
    """Return the letters that a font file has."""
    with TTFont(file, lazy=True) as font:
        return frozenset(font.getBestCmap() or {})


def _plainly(letter: str) -> str:
    """Return what is written for a letter that there is none for."""
    swapped = letter.translate(_PLAIN)
    bare = "".join(
        c for c in unicodedata.normalize("NFKD", swapped) if not unicodedata.combining(c)
    )
    return bare.encode("latin-1", "replace").decode("latin-1")


@dataclass(slots=True)
class Lettering:
    """What a document is written with.

    Parameters
    ----------
    font : tuple of Path or None
        A regular and a bold font to embed; None for the reader's own.
    lacking : bool
        Whether a letter was met that it does not have.
    """

    font: tuple[Path, Path] | None = None
    lacking: bool = field(default=False)

    @property
    def family(self) -> str:
        """Return the name of the font in the document."""
        return _OWN if self.font is None else _EMBEDDED

    def begin(self, pdf: FPDF) -> None:
        """Make the font known to a document."""
        if self.font is not None:
            regular, bold = self.font
            pdf.add_font(_EMBEDDED, "", regular)
            pdf.add_font(_EMBEDDED, "B", bold)

    def text(self, text: str) -> str:
        """Return a text in letters that the font has."""
        text = clean(text)
        if self.font is None:
            text = text.translate(_ALIKE)
        written = []
        for letter in text:
            if self._has(letter):
                written.append(letter)
            else:
                self.lacking = True
                written.append(_plainly(letter))
        return "".join(written)

    def _has(self, letter: str) -> bool:
        if self.font is None:
            return ord(letter) < 256
        return letter in "\n\t" or ord(letter) in _letters_of(self.font[0])


def printed(build: Callable[[Lettering], bytes]) -> bytes:
    """Return a document in the simplest letters that show all of it.

    Parameters
    ----------
    build : callable
        Writes the document with some lettering; called again with an embedded font where the
        reader's own lacks a letter and there is a font here.
    """
    own = Lettering()
    made = build(own)
    font = find_font() if own.lacking else None
    return made if font is None else build(Lettering(font))
