"""What is wrong with an entry, at its field."""

from __future__ import annotations

import ipywidgets as widgets

from fitgraph.lab import tables


class FieldProblem(widgets.HTML):
    """A line under a field; it takes no room while there is nothing to say."""

    def __init__(self) -> None:
        super().__init__(layout=widgets.Layout(width="auto", margin="0", display="none"))

    def tell(self, message: str) -> None:
        """Say it; an empty message says that all is well."""
        self.value = tables.wrap(tables.alert(message)) if message else ""
        self.layout.display = None if message else "none"
