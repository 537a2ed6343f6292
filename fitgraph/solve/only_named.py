"""A question that needs too much memory over all parts, asked again over those that it names."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TypeVar

from fitgraph.solve.engine import Remaining, TreeEngine
from fitgraph.solve.plan import TooWideError
from fitgraph.solve.request import Request, named_by_role

Answer = TypeVar("Answer")


def asked_of_named(
    engine: TreeEngine, names: Iterable[str], question: Callable[[TreeEngine], Answer]
) -> tuple[Answer, TreeEngine]:
    """Return what an engine answers, and who answered: the engine itself wherever it can.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    names : iterable of str
        Stock numbers of which the builds in question have one, where they name any for a role.
    question : callable
        Asks an engine.

    Returns
    -------
    answer
        What the question came to.
    engine : TreeEngine
        Where all parts together would pass the ceiling, one over a catalogue that has of roles
        with named parts only these.

    Raises
    ------
    TooWideError
        If nothing is named, or that does not help.
    NamingError
        If something named is not in the catalogue.
    """
    named = named_by_role(engine.catalogue, tuple(names))
    try:
        return question(engine), engine
    except TooWideError:
        if not named:
            raise
    left = only_named(engine, named)
    return question(left), left


def remaining_of_named(engine: TreeEngine, request: Request) -> dict[str, Remaining]:
    """Return what :meth:`TreeEngine.remaining` does, role by role where all parts are too much.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    request : Request
        The question.

    Raises
    ------
    TooWideError
        If nothing is named, or that does not help.
    NamingError
        If the request names something the catalogue does not have.
    """
    names = (*request.have, *request.want)
    found, answered = asked_of_named(engine, names, lambda e: e.remaining(request))
    if answered is engine:
        return found
    named = named_by_role(engine.catalogue, names)
    for role in named:  # of whose parts each is judged as if it were taken instead
        free = only_named(engine, {r: of_role for r, of_role in named.items() if r != role})
        found[role] = free.remaining(request)[role]
    return found


def only_named(engine: TreeEngine, named: Mapping[str, frozenset[str]]) -> TreeEngine:
    """Return an engine over a catalogue that has of some roles only some parts.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    named : mapping of str to set of str
        Stock numbers by role.
    """
    catalogue = engine.catalogue
    by_role = {
        role: tuple(p for p in parts if role not in named or p.sku in named[role])
        for role, parts in catalogue.by_role.items()
    }
    kept = {p.sku for parts in by_role.values() for p in parts}
    parts = {sku: part for sku, part in catalogue.parts.items() if sku in kept}
    left = replace(catalogue, parts=MappingProxyType(parts), by_role=MappingProxyType(by_role))
    return TreeEngine(left, tidy=engine.tidy)
