"""Which tint and hatching parts of a role have: the same in every drawing."""

from __future__ import annotations

from collections.abc import Mapping

from fitgraph.draw.nested import pairs, walls
from fitgraph.draw.style import PART_TINTS
from fitgraph.model import Reference, Vocabulary


def _inside(vocabulary: Vocabulary) -> Mapping[Reference, set[Reference]]:
    """Return for each bore what can sit in it at any depth: spigots, and those in their bores."""
    into: dict[Reference, set[Reference]] = {}
    for joint in pairs(vocabulary):
        into.setdefault(joint.arguments["bore"], set()).add(joint.arguments["spigot"])
    wall = walls(vocabulary)
    found: dict[Reference, set[Reference]] = {}
    for bore in into:
        ahead, reached = list(into[bore]), set[Reference]()
        while ahead:
            spigot = ahead.pop()
            if spigot not in reached:
                reached.add(spigot)
                ahead.extend(into.get(wall[spigot], ()) if spigot in wall else ())
        found[bore] = reached
    return found


def tints(vocabulary: Vocabulary) -> dict[str, int]:
    """Return the tint of every role, from 0.

    Roles that meet in a joint differ, and so do roles that a section shows together, as far as
    there are tints; among the rest those are taken that fewest roles have.

    Parameters
    ----------
    vocabulary : Vocabulary
        Its joints say which roles sit one inside the other.
    """
    touching: dict[str, set[str]] = {role: set() for role in vocabulary.roles}
    together: dict[str, set[str]] = {role: set() for role in vocabulary.roles}
    for joint in pairs(vocabulary):
        one, other = joint.arguments["bore"].role, joint.arguments["spigot"].role
        touching[one].add(other)
        touching[other].add(one)
    for bore, reached in _inside(vocabulary).items():
        shown = {bore.role, *(r.role for r in reached)}
        for role in shown:
            together[role] |= shown - {role}
    found: dict[str, int] = {}
    # Who has most neighbours chooses first; all tints are free then.
    for role in sorted(vocabulary.roles, key=lambda r: (-len(touching[r]), -len(together[r]))):

        def cost(tint: int, role: str = role) -> tuple[int, int, int, int]:
            same = {r for r, t in found.items() if t == tint}
            return (len(same & touching[role]), len(same & together[role]), len(same), tint)

        found[role] = min(range(PART_TINTS), key=cost)
    return found
