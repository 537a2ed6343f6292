"""Every valid build: classes of parts, a junction tree over them, counts and the best."""

from fitgraph.solve.engine import Engine, TreeEngine
from fitgraph.solve.plan import TooWideError
from fitgraph.solve.reference import ReferenceEngine, TooManyBuildsError
from fitgraph.solve.request import NamingError, Request, Services
from fitgraph.solve.space import Space, compile_space

__all__ = [
    "Engine",
    "NamingError",
    "ReferenceEngine",
    "Request",
    "Services",
    "Space",
    "TooManyBuildsError",
    "TooWideError",
    "TreeEngine",
    "compile_space",
]
