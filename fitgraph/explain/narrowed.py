"""The plan of one question: only what can matter to whether a build is left."""

from __future__ import annotations

import functools
import operator
from collections.abc import Collection, Mapping

import numpy as np

from fitgraph.array_types import Bools, Ints
from fitgraph.explain.elements import AskedElements
from fitgraph.explain.transversals import bits
from fitgraph.solve.draft import Memo
from fitgraph.solve.plan import Plan
from fitgraph.solve.space import Space
from fitgraph.solve.substitutes import needed


def narrowed(question: AskedElements, *, certain: bool, sums: frozenset[str] | None = None) -> Plan:
    """Return a plan over the classes that can matter, whatever of a question is dropped.

    Parameters
    ----------
    question : AskedElements
        What is asked; its limits are not looked at.
    certain : bool
        Whether builds that are only possible are left out.
    sums : frozenset of str, optional
        Names of the conditions on sums that count; all by default.
    """
    space = question.space
    domains = {
        role: _needed(space, role, allowed, _short(question, role), certain=certain)
        for role, allowed in question.allowed.items()
    }
    return space.ingredients(certain=certain).plan(domains, sums=sums)


def within(space: Space, lets: Mapping[str, Bools], whole: Collection[str], memo: Memo) -> Plan:
    """Return a plan of what certainly fits among some options, of some roles with all of them.

    Parameters
    ----------
    space : Space
        The compiled catalogue.
    lets : mapping of str to ndarray of bool
        The options that any request lets in.
    whole : collection of str
        Roles of which every option matters; of the others only whether there is one.
    memo : Memo
        Carries what plans have in common.
    """
    domains = {}
    for role, mask in lets.items():
        if role in whole:
            domains[role] = np.flatnonzero(np.bincount(space.class_of[role][mask]))
        else:
            nothing = np.zeros(len(mask), dtype=np.intp)
            domains[role] = _needed(space, role, mask, nothing, certain=True)
    return space.ingredients(certain=True).plan(domains, memo=memo)


def _needed(space: Space, role: str, mask: Bools, breaks: Ints, *, certain: bool) -> Ints:
    pairs = np.unique(np.column_stack([space.class_of[role][mask], breaks[mask]]), axis=0)
    stands_in = space.substitutes(certain=certain)[role]
    return np.unique(pairs[needed(stands_in, *pairs.T), 0])


def _short(question: AskedElements, role: str) -> Ints:
    """Return what each option breaks, with the elements that the role can break numbered anew."""
    codes = question.broken[role]
    broken = {c: question.broken_by(role, c) for c in set(codes.tolist())}
    every = list(bits(int(functools.reduce(operator.or_, broken.values(), 0))))
    short = np.zeros(256, dtype=np.intp)
    for code, elements in broken.items():
        short[code] = sum(1 << n for n, bit in enumerate(every) if elements & bit)
    return short[codes]
