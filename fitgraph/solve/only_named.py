"""A catalogue of what a request leaves, where all parts together would need too much memory."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

from fitgraph.solve.engine import TreeEngine
from fitgraph.solve.plan import TooWideError
from fitgraph.solve.request import Request, named_by_role


def engine_for(engine: TreeEngine, request: Request) -> TreeEngine:
    """Return who answers a request: the engine itself wherever it can.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    request : Request
        The question.

    Returns
    -------
    TreeEngine
        Where a plan over all parts would pass the ceiling, one over a catalogue that has of
        roles with named parts only these.

    Raises
    ------
    TooWideError
        If nothing is named.
    NamingError
        If the request names something the catalogue does not have.
    """
    try:
        engine.space.plan(certain=True)
    except TooWideError:
        catalogue = engine.catalogue
        named = named_by_role(catalogue, (*request.have, *request.want))
        if not named:
            raise
        parts = {
            sku: part
            for sku, part in catalogue.parts.items()
            if part.role not in named or sku in named[part.role]
        }
        by_role = {
            role: tuple(p for p in of_role if p.sku in parts)
            for role, of_role in catalogue.by_role.items()
        }
        left = replace(catalogue, parts=MappingProxyType(parts), by_role=MappingProxyType(by_role))
        return TreeEngine(left, tidy=engine.tidy)
    return engine
