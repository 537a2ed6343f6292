"""Why a combination fails, what would change it, and what every build has to add."""

from fitgraph.explain.chance import Chance, chance_of
from fitgraph.explain.changes import Action, Change, Prefer
from fitgraph.explain.conflicts import Conflict
from fitgraph.explain.elements import Element
from fitgraph.explain.reasons import Clash, Figure
from fitgraph.explain.request_conflicts import RequestExplanation
from fitgraph.explain.shares import share_of_pairs
from fitgraph.explain.why import Explainer, Explanation, Need
from fitgraph.explain.words import (
    action_text,
    assembly_text,
    clash_text,
    conflict_text,
    element_text,
    held_texts,
    hold_text,
    pressed_text,
    stock_text,
    strain_texts,
)

__all__ = [
    "Action",
    "Chance",
    "Change",
    "Clash",
    "Conflict",
    "Element",
    "Explainer",
    "Explanation",
    "Figure",
    "Need",
    "Prefer",
    "RequestExplanation",
    "action_text",
    "assembly_text",
    "chance_of",
    "clash_text",
    "conflict_text",
    "element_text",
    "held_texts",
    "hold_text",
    "pressed_text",
    "share_of_pairs",
    "stock_text",
    "strain_texts",
]
