"""Of which kind parts are: by the figures and features that a vocabulary's grouping names.

A window wants the middle of the figure's limits inside it; a condition wants the part to be
there, and to have or to lack the feature for certain.
"""

from __future__ import annotations

from collections.abc import Mapping

from fitgraph.graph.options import holds_for_certain, length_of
from fitgraph.model import Grouping, Kind, Option

#: The group of what is of none of a grouping's kinds.
OTHER = "other"


def roles_of(kind: Kind) -> frozenset[str]:
    """Return the roles that a kind looks at."""
    return frozenset({c.role for c in kind.when} | {r.role for r in kind.within})


def suits(kind: Kind, option: Option) -> bool:
    """Return whether all that a kind says of an option's own role is so for certain."""
    for condition in kind.when:
        if condition.role == option.role and not holds_for_certain(option, condition):
            return False
    for reference, (least, most) in kind.within.items():
        if reference.role != option.role:
            continue
        size = length_of(option, reference)
        if size is None or not size.known or not least <= size.mid <= most:
            return False
    return True


def kind_of(grouping: Grouping, options: Mapping[str, Option]) -> Kind | None:
    """Return the first kind that options, by role, are of; None where they are of none.

    Parameters
    ----------
    grouping : Grouping
        The kinds, in order.
    options : mapping of str to Option
        What is there. A kind that looks at a role which is not there does not fit.
    """
    for kind in grouping.kinds:
        roles = roles_of(kind)
        if roles <= options.keys() and all(suits(kind, options[role]) for role in roles):
            return kind
    return None
