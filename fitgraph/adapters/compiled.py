"""A catalogue compiled with made parts in the place of those that a role has."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fitgraph.graph.columns import WordCodes, columns_of
from fitgraph.graph.joints import asked, joint_table
from fitgraph.graph.options import options_for
from fitgraph.graph.sums import sum_condition
from fitgraph.mechanics.rules import RULES
from fitgraph.model import Catalogue, Option
from fitgraph.solve.space import Space, compile_tables


def compiled_with(catalogue: Catalogue, made: Mapping[str, Sequence[Option]]) -> Space:
    """Return a catalogue compiled with these options only of some roles.

    Parameters
    ----------
    catalogue : Catalogue
        Where the options of all other roles come from.
    made : mapping of str to sequence of Option
        For each of those roles, what stands there.
    """
    vocabulary = catalogue.vocabulary
    options = {
        role: tuple(made[role])
        if role in made
        else options_for(catalogue.of(role), role, vocabulary)
        for role in vocabulary.roles
    }
    columns = columns_of(options, WordCodes())
    joints = asked(vocabulary.joints, tidy=True)
    joints = [j for j in joints if all(options[r] for r in j.roles)]
    tables = [joint_table(j, columns) for j in joints if not RULES[j.rule].sums]
    sums = [sum_condition(j, columns) for j in joints if RULES[j.rule].sums]
    return compile_tables(catalogue, options, tables, sums=sums)
