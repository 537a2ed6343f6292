"""What many tests ask about and none changes, read and compiled once a process."""

from __future__ import annotations

import functools

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
