"""Each rule whole: how it judges, what it asks turned round, its words and its drawing.

A rule that lacks one of them is met here first: the package does not import.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from fitgraph.draw.joint import DRAWN, Drawn, joint_svg
from fitgraph.explain import Clash, clash_text
from fitgraph.explain.words import COMES_TO
from fitgraph.mechanics.rules import RULES, Rule
from fitgraph.model import Catalogue
from fitgraph.records import dataclass
from fitgraph.report.blocks import Picture, Say


@dataclass(frozen=True, slots=True)
class WholeRule:
    """A rule with all that is known of it.

    Parameters
    ----------
    rule : Rule
        How it judges (``rule.judge``), and what it asks of one argument (``rule.inverse``).
    comes_to : callable
        What its figures come to, in words (:mod:`fitgraph.explain.words`).
    drawn : callable
        What its figures come to, as a drawing (:mod:`fitgraph.draw.joint`).
    """

    rule: Rule
    comes_to: Callable[[Clash], str]
    drawn: Callable[[Clash, float], Drawn]


#: Every rule of the closed set, by the name a vocabulary uses.
WHOLE: Mapping[str, WholeRule] = {
    name: WholeRule(rule, COMES_TO[name], DRAWN[name]) for name, rule in RULES.items()
}


def told(clash: Clash, catalogue: Catalogue, deep: int = 1) -> tuple[Say, Picture]:
    """Return what a joint says of a combination: its sentence, and its drawing.

    Parameters
    ----------
    clash : Clash
        The joint with its verdict and figures.
    catalogue : Catalogue
        Whose vocabulary names the roles.
    deep : int
        How far the sentence is set in.
    """
    # The sentence stands above the drawing in every medium, so it is not told again below.
    return Say(clash_text(clash, catalogue), deep=deep), Picture(joint_svg(clash), "")
