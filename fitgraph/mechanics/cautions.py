"""The cautions that travel with results on which somebody's safety can hang.

A vocabulary may word its own (its ``[cautions]`` table); these are the ones that hold in any
trade.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

CAUTIONS: Mapping[str, str] = MappingProxyType(
    {
        "cutting": (
            "Cutting or slotting a tube cannot be undone and may end the maker's warranty. "
            "Follow the maker's instructions, wear eye protection, deburr every edge, and "
            "leave it to a trained workshop."
        ),
        "torque": (
            "A computed torque or grip only compares clamps. Tighten to the maker's figure "
            "with a torque wrench, bolts in turn, and check again after the first use. Where "
            "local rules ask for a qualified person, defer to them."
        ),
        "strength": (
            "A strength figure compares tubes; it is no certificate. The end of a slot counts as a "
            "notch of middling sharpness where builds are ranked; welds and dents are left out. "
            "The maker's limits and the safety standard go first."
        ),
        "crush": (
            "How a clamp's pressure spreads is not known; the figures only compare tubes. A tube "
            "that was squeezed oval or dented is done with. Keep to the maker's torque, and ask "
            "the tube's maker whether it may be clamped from outside at all."
        ),
        "thread": (
            "A stripped thread lets go without warning. Oil nothing that the maker wants dry, use "
            "a torque wrench, count the turns that hold, and have a worn thread renewed by a "
            "trained workshop."
        ),
        "press": (
            "A pressed part stores force and can burst or fly. Support the part squarely, wear "
            "eye protection, keep hands out of the press, and follow the maker's instructions."
        ),
    }
)


def caution(topic: str) -> str:
    """Return the caution on a topic: cutting, torque, strength, crush, thread or press.

    Raises
    ------
    KeyError
        If there is none; the message names the topics.
    """
    if topic in CAUTIONS:
        return CAUTIONS[topic]
    raise KeyError(f"no caution on {topic!r}; topics are {', '.join(CAUTIONS)}")
