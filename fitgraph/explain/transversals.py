"""Minimal transversals of a family of sets: the smallest sets that meet every member.

Sets are whole numbers, one bit an element. A set of elements cannot hold together exactly when
it meets, for every assignment, what that assignment breaks; so the minimal conflicts are the
minimal transversals of the minimal broken sets, and the other way round.

References
----------
.. [1] C. Berge, "Hypergraphs", North-Holland 1989, chapter 2, transversal sets
   (reference checked).
.. [2] R. Reiter, "A theory of diagnosis from first principles", Artificial Intelligence 32
   (1987) 57-95 (reference checked).
"""

from __future__ import annotations

from collections.abc import Iterable

from fitgraph.stopping import check


class TooManySetsError(RuntimeError):
    """More sets than a ceiling allows would have to be held."""


#: More transversals than this at once are not looked for.
CEILING = 20_000


def minimal(family: Iterable[int]) -> list[int]:
    """Return the members that contain no other member, the smallest first.

    Examples
    --------
    >>> minimal([0b110, 0b010, 0b101])
    [2, 5]
    """
    kept: list[int] = []
    inside = Inside()
    for member in sorted(set(family), key=lambda m: (m.bit_count(), m)):
        if not inside.any(member):
            kept.append(member)
            inside.add(member)
    return kept


class Inside:
    """Sets, of which one is looked for that lies inside another set: by their lowest bits."""

    def __init__(self, family: Iterable[int] = ()) -> None:
        self._of: dict[int, list[int]] = {}
        for member in family:
            self.add(member)

    def add(self, member: int) -> None:
        """Take a set in."""
        self._of.setdefault(member & -member, []).append(member)

    def any(self, member: int) -> bool:
        """Return whether one of the sets lies inside a set."""
        of, rest = self._of, member
        while rest:
            lowest = rest & -rest
            for less in of.get(lowest, ()):
                if less & member == less:
                    return True
            rest ^= lowest
        return 0 in of


def bits(member: int) -> list[int]:
    """Return the bits of a set, the lowest first, each as a set of its own.

    Examples
    --------
    >>> bits(0b101)
    [1, 4]
    """
    found = []
    while member:
        lowest = member & -member
        found.append(lowest)
        member ^= lowest
    return found


def minimal_transversals(family: Iterable[int], *, ceiling: int = CEILING) -> list[int]:
    """Return every smallest set that meets each member of a family.

    Parameters
    ----------
    family : iterable of int
        Sets as whole numbers, one bit an element.
    ceiling : int
        Most transversals to hold at once.

    Returns
    -------
    list of int
        The empty set alone where the family is empty; nothing where a member
        is empty.

    Raises
    ------
    TooManySetsError
        If more than `ceiling` would have to be held.

    Notes
    -----
    Berge's algorithm, one member after the other. A transversal `t` that misses the next member
    grows by one of its elements `b`; the result is minimal unless a transversal that already
    meets the member, and has `b` in it, lies inside.

    Examples
    --------
    >>> sorted(minimal_transversals([0b011, 0b110]))
    [2, 5]
    """
    found = [0]
    for member in minimal(family):
        check()
        meeting = [t for t in found if t & member]
        missing = [t for t in found if not t & member]
        if not missing:
            continue
        grown = []
        for element in bits(member):
            rivals = [t ^ element for t in meeting if t & element]
            if rivals:
                grown += [
                    t | element for t in missing if not any(less & t == less for less in rivals)
                ]
            else:
                grown += [t | element for t in missing]
        found = meeting + grown
        if len(found) > ceiling:
            raise TooManySetsError(f"more than {ceiling:,} minimal sets")
    return sorted(found, key=lambda m: (m.bit_count(), m))
