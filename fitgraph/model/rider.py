"""What is asked of a rider, and how a way of riding weighs light, strong and affordable."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import TYPE_CHECKING

from fitgraph.records import dataclass

if TYPE_CHECKING:
    from fitgraph.model.vocabulary import Reference


@dataclass(frozen=True, slots=True)
class Question:
    """Something that a rider can look at or measure.

    Parameters
    ----------
    name : str
        Identifier, unique in the vocabulary.
    ask : str
        The question in a rider's words.
    role, feature : str
        What it looks at.
    dimension : str or None
        The figure that is read; None for the question whether the feature is there.
    tolerance_mm : float
        How far a rider's reading may be off, in mm (two standard deviations).
    effort : float
        How much work the look is, against a glance; a question is worth what it tells for its
        effort.
    how : str
        How to look or measure.
    """

    name: str
    ask: str
    role: str
    feature: str
    dimension: str | None = None
    tolerance_mm: float = 0.2
    effort: float = 1.0
    how: str = ""


@dataclass(frozen=True, slots=True)
class Identify:
    """How to find out what a rider has.

    Parameters
    ----------
    group : str
        The grouping whose kinds are told apart.
    questions : tuple of Question
        What can be asked.
    means : mapping of str to str
        What each kind is, in a few words.
    sure : float
        From which chance on an answer counts as found.
    """

    group: str
    questions: tuple[Question, ...]
    means: Mapping[str, str] = field(default_factory=dict)
    sure: float = 0.95


@dataclass(frozen=True, slots=True)
class Style:
    """How somebody rides, as weights.

    Parameters
    ----------
    light, strong, affordable : float
        What each of the three counts for; only their proportions matter.
    say : str
        Why, in a sentence.
    """

    name: str
    light: float
    strong: float
    affordable: float
    say: str = ""


@dataclass(frozen=True, slots=True)
class Advice:
    """What advice by rider rests on.

    Parameters
    ----------
    rule : str
        The catalogue's rule of thumb.
    styles : mapping of str to Style
        Ways of riding.
    broken : Style or None
        What is added for somebody who has broken parts before.
    say : mapping of str to str
        A sentence for a family of materials.
    tell : mapping of str to Reference
        Dimensions that are told of each family, by the words for them.
    group : str
        The grouping that names kinds of tube; empty where there is none.
    """

    rule: str
    styles: Mapping[str, Style]
    broken: Style | None = None
    say: Mapping[str, str] = field(default_factory=dict)
    tell: Mapping[str, Reference] = field(default_factory=dict)
    group: str = ""
