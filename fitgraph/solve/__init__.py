"""Every valid build: classes of parts, a plan to go through them, counts and the best."""

from fitgraph.solve.engine import TreeEngine
from fitgraph.solve.plan import TooWideError
from fitgraph.solve.request import NamingError, Request, Services
from fitgraph.solve.space import Space, compile_space

__all__ = [
    "NamingError",
    "Request",
    "Services",
    "Space",
    "TooWideError",
    "TreeEngine",
    "compile_space",
]
