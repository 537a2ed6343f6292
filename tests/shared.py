"""What many tests ask about and none changes, read and compiled once a process."""

from __future__ import annotations

import ast
import functools
from pathlib import Path

from fitgraph.lab.opened import OpenCatalogue, made_ready, prepare


@functools.cache
def the_demo() -> OpenCatalogue:
    """Return the demo: its catalogue, engine, explainer and shop, with what they have kept.

    Pages that open it in this process get the same one.
    """
    prepare()
    ready = made_ready()
    assert ready is not None
    return ready


@functools.cache
def parsed(path: Path) -> ast.Module:
    """Return a module of ours as it is parsed."""
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


@functools.cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    """Return all that a module of ours is made of, in the order of :func:`ast.walk`."""
    return tuple(ast.walk(parsed(path)))
