"""Conditions on sums as tables over all their roles, for peers that know no sums."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitgraph.graph.classes import distinct_rows
from fitgraph.graph.joints import JointTable
from fitgraph.graph.sums import SumCondition
from fitgraph.mechanics.rules import EPSILON_MM
from fitgraph.model import Verdict
from fitgraph.solve.carried_sums import STEPS, in_steps


def table_of(condition: SumCondition) -> JointTable:
    """Return a condition as a table over all its roles, for where few classes are left."""
    roles = condition.roles
    columns = {
        role: np.column_stack(
            [
                term.class_of[axis]
                for term in condition.terms
                for axis, other in enumerate(term.roles)
                if other == role
            ]
        )
        for role in roles
    }
    classes = {role: distinct_rows(of_role) for role, of_role in columns.items()}
    shape = [len(first) for first, _ in classes.values()]
    sums = [np.zeros(shape), np.zeros(shape)]
    for term in condition.terms:
        order = sorted(range(len(term.roles)), key=lambda n: roles.index(term.roles[n]))
        at = np.ix_(*(term.class_of[n][classes[term.roles[n]][0]] for n in order))
        spread = [len(classes[r][0]) if r in term.roles else 1 for r in roles]
        for k, values in enumerate((term.worst, term.best)):
            sums[k] += np.transpose(in_steps(values), order)[at].reshape(spread)
    edge = -EPSILON_MM * STEPS
    verdicts = np.full(shape, Verdict.UNKNOWN, dtype=np.int8)
    verdicts[sums[1] < edge] = Verdict.FAILS
    verdicts[sums[0] >= edge] = Verdict.FITS
    return JointTable(
        replace(condition.joint, name=condition.name),
        roles,
        tuple(classes[role][1] for role in roles),
        verdicts,
    )
