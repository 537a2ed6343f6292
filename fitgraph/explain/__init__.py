"""Why a combination fails, what would change it, and what every build has to add."""

from fitgraph.explain.changes import Action, Change
from fitgraph.explain.reasons import Clash, Figure
from fitgraph.explain.shares import share_of_pairs
from fitgraph.explain.why import Explainer, Explanation, Need
from fitgraph.explain.words import action_text, clash_text, hold_text

__all__ = [
    "Action",
    "Change",
    "Clash",
    "Explainer",
    "Explanation",
    "Figure",
    "Need",
    "action_text",
    "clash_text",
    "hold_text",
    "share_of_pairs",
]
