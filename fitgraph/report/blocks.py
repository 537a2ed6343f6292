"""What is shown of an answer: a headline, sentences, tables, pictures and cautions.

Nothing here is markup. Whoever writes a report for a medium decides what a tone looks like.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from enum import Enum

from fitgraph.draw.style import WORDS
from fitgraph.model import Verdict
from fitgraph.records import dataclass
from fitgraph.report.tables import Table


class Tone(Enum):
    """How loud a sentence is."""

    LOUD = "loud"
    PLAIN = "plain"
    QUIET = "quiet"
    #: Told as soon as it stands there: how far something is, what came of it.
    STATUS = "status"
    #: What went wrong, told as soon as it stands there; a paragraph a line.
    FAULT = "fault"


@dataclass(frozen=True, slots=True)
class Say:
    """A paragraph.

    Parameters
    ----------
    text : str
        Plain text.
    tone : Tone
        How loud it is.
    deep : int
        How far it is set in; what explains a sentence stands deeper than it.
    aside : str
        What is said quietly behind it.
    verdict : Verdict or None
        The verdict that it gives reasons for; its sign stands before it.
    lead : str
        Its first words, which are loud.
    """

    text: str
    tone: Tone = Tone.PLAIN
    deep: int = 0
    aside: str = ""
    verdict: Verdict | None = None
    lead: str = ""


@dataclass(frozen=True, slots=True)
class Items:
    """A list of sentences.

    Parameters
    ----------
    says : tuple of Say
        The sentences; one that stands deeper belongs to the one before it.
    numbered : bool
        Whether their order counts.
    """

    says: tuple[Say, ...]
    numbered: bool = False


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing.

    Parameters
    ----------
    drawn : str or callable
        The drawing, made by :mod:`fitgraph.draw`, or what makes it: not every medium shows it.
    text : str
        The same in words, for those who cannot see it and for terminals; empty where the
        sentence before it says it.
    narrow : str or callable
        The same drawing where there is little room; empty where it has one shape.
    """

    drawn: str | Callable[[], str]
    text: str
    narrow: str | Callable[[], str] = ""

    @property
    def svg(self) -> str:
        """Return the drawing."""
        return self.drawn if isinstance(self.drawn, str) else self.drawn()

    @property
    def narrow_svg(self) -> str:
        """Return the drawing where there is little room; empty where it has one shape."""
        return self.narrow if isinstance(self.narrow, str) else self.narrow()


@dataclass(frozen=True, slots=True)
class Section:
    """Blocks under a heading.

    Parameters
    ----------
    title : str
        The heading; empty where the blocks only stand apart from what is before them.
    blocks : tuple of Block
        What is in it.
    loud : bool
        Whether the heading is loud.
    aside : str
        What is said quietly behind the heading.
    folded : bool
        Whether a page shows it once somebody opens it.
    verdict : Verdict or None
        The verdict on what it shows, which stands behind the heading.
    """

    title: str
    blocks: tuple[Block, ...]
    loud: bool = False
    aside: str = ""
    folded: bool = False
    verdict: Verdict | None = None

    @property
    def heading(self) -> str:
        """Return what stands above it, with the verdict in words."""
        return self.title if self.verdict is None else f"{self.title}: {WORDS[self.verdict]}"


Block = Say | Items | Table | Picture | Section


@dataclass(frozen=True, slots=True)
class Report:
    """What is shown of an answer.

    Parameters
    ----------
    headline : str
        The answer in a sentence.
    blocks : tuple of Block
        What supports it.
    cautions : tuple of str
        What has to be shown with it.
    verdict : Verdict or None
        The verdict that the headline tells, where it tells one.
    """

    headline: str
    blocks: tuple[Block, ...] = ()
    cautions: tuple[str, ...] = ()
    verdict: Verdict | None = None


def status(text: str, lead: str = "") -> Say:
    """Return what is told as soon as it stands there: how far something is, what came of it.

    Parameters
    ----------
    text : str
        All of it, but for the first words where they are loud.
    lead : str
        Those.
    """
    return Say(text, Tone.STATUS, lead=lead)


def fault(text: str) -> Say:
    """Return what went wrong, a paragraph a line."""
    return Say(text, Tone.FAULT)


def quiet(text: str) -> Say:
    """Return what only explains."""
    return Say(text, Tone.QUIET)


def items(texts: Iterable[str], *, numbered: bool = False) -> Items:
    """Return sentences as a list."""
    return Items(say_all(texts), numbered)


def say_all(texts: Iterable[str], tone: Tone = Tone.PLAIN, deep: int = 1) -> tuple[Say, ...]:
    """Return sentences as paragraphs."""
    return tuple(Say(text, tone, deep) for text in texts)
