"""The ways that matter: few choices that stand for all builds, each opened by a press."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets

from fitgraph.explain.requested import Listed, list_builds, list_fillings
from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.choices import Choices
from fitgraph.lab.look import html
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.report.blocks import status
from fitgraph.report.builds import report, told_answers
from fitgraph.report.hints import Hints
from fitgraph.solve import Request

#: Ways shown, and fillings of one that is opened.
_WAYS, _FILLINGS = 8, 10


class WaysPanel(widgets.VBox):
    """Ways with any of so many fillings, from one price to another.

    Parameters
    ----------
    opened : OpenCatalogue
        The catalogue.
    page : Answering
        Whose panel it is; it computes beside its fields.
    """

    def __init__(self, opened: OpenCatalogue, page: Answering) -> None:
        self._opened, self._page = opened, page
        self.listed: Listed | None = None
        self._asked = 0
        self._pressed = ""
        self.ways = Choices("Ways; press one to see its fillings", tall=True)
        self.fillings = html()
        self.ways.on_press(self._press)
        super().__init__([self.ways, self.fillings])

    def find(self, request: Request, sort: str) -> Listed:
        """Return which ways there are.

        Parameters
        ----------
        request : Request
            The question of the page.
        sort : {'price', 'mass', 'strength'}
            The order.
        """
        return list_builds(self._opened.engine, request, sort=sort, limit=1, rows=_WAYS)

    def show(self, listed: Listed) -> None:
        """Show the ways that were found."""
        self.listed, self._pressed = listed, ""
        self._asked += 1
        self._page.write(self.fillings)
        self._show()

    def _show(self) -> None:
        listed = self.listed
        told = () if listed is None else told_answers(listed)
        items: list[dict[str, Any]] = [
            {
                "name": f"{self._asked}:{n}",
                "tag": title,
                "label": ", ".join(name or number for name, number in parts) or "what you have",
                "numbers": ", ".join(number for name, number in parts if name),
                "note": note,
                "on": f"{self._asked}:{n}" == self._pressed,
            }
            for n, (title, parts, note) in enumerate(told)
        ]
        self.ways.show(items)

    def _press(self, name: str) -> None:
        listed = self.listed
        if listed is None:
            return
        self._pressed = "" if name == self._pressed else name
        self._show()
        if not self._pressed:
            self._page.drop(self.fillings)
            self._page.write(self.fillings)
            return
        one = listed.answers[int(name.split(":")[1])]
        self._page.write(self.fillings, status("Listing its fillings …"))

        def fill(found: Listed) -> None:
            self._page.write(self.fillings, report(found, Hints()))

        step = Task(
            lambda: list_fillings(
                self._opened.engine, listed.request, one, sort=listed.sort, limit=_FILLINGS
            ),
            fill,
        )
        self._page.work_out(lambda: [step], self.fillings)
