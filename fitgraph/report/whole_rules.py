"""Each rule whole: how it judges, what it asks turned round, its words and its drawing.

A rule that lacks one of them is met here first: this module does not load.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from fitgraph.draw.joint import DRAWN, Drawn, joint_svg
from fitgraph.explain import Clash
from fitgraph.explain.words import COMES_TO
from fitgraph.mechanics.rules import RULES, Rule
from fitgraph.records import dataclass


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


def drawing(clash: Clash) -> str:
    """Return the drawing of a joint's figures."""
    return joint_svg(clash)
