"""What would change if parts were made, and the proposals that are kept to be tried again."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any

from fitgraph.adapters.kept_parts import FOLDER, kept
from fitgraph.adapters.kept_parts import keep as keep_parts
from fitgraph.adapters.trials import MadeUp
from fitgraph.lab.answering import Panel, Task
from fitgraph.lab.choices import Choices
from fitgraph.lab.fields import Field, Fields
from fitgraph.lab.look import button, heading, html, note, row
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.report.blocks import Block, Say, fault, status
from fitgraph.report.if_made import if_made
from fitgraph.shop.weighed import weighed
from fitgraph.solve import Request


class TrialPanel(Panel):
    """Parts added for a trial, what that changes, and the proposals that are kept.

    Parameters
    ----------
    opened : OpenCatalogue
        The catalogue.
    tried : callable
        Called when something else is added.
    looked_at, best : callable
        Return the part looked at and the best few together, as they can be made up again; none
        where there are none.
    """

    def __init__(
        self,
        opened: OpenCatalogue,
        tried: Callable[[], None],
        looked_at: Callable[[], Sequence[MadeUp]],
        best: Callable[[], Sequence[MadeUp]],
    ) -> None:
        super().__init__(opened, tried)
        self.added: tuple[MadeUp, ...] = ()
        self._looked_at = looked_at
        self.add = button(
            "Add the part looked at",
            lambda: self._add(looked_at()),
            disabled=True,
            tooltip="Add it to the catalogue for a trial, and ask everything again",
        )
        self.add_best = button(
            "Add the best together",
            lambda: self._add(best()),
            disabled=True,
            tooltip="Add the best few to the catalogue for a trial, and ask everything again",
        )
        self.taken_out = Choices("Added parts; press one to take it out again")
        self.taken_out.on_press(self._take_out)
        self.told, self.kept_told = html(), html()
        self.keep_button = button(
            "Keep the part looked at",
            self._keep,
            disabled=True,
            tooltip=f"Write it into the folder {FOLDER} beside the catalogue's tables",
        )
        self.kept_parts = Choices("Kept proposals; press one to try it")
        self.kept_parts.on_press(self._try_kept)
        self.fields = Fields(added=Field(lambda: [m.plain() for m in self.added], self._enter))
        self.children = (
            heading("If it were made"),
            note(
                "A trial: the part is added to the catalogue, one in stock, and everything here is "
                "asked again. Nothing is written to your folder."
            ),
            row([self.add, self.add_best]),
            self.taken_out,
            self.told,
            heading("Proposals that are kept"),
            note(
                f"A file each in the folder {FOLDER} beside the catalogue's tables. They are no "
                "stock and no part of the catalogue; press one to try it again."
            ),
            row([self.keep_button]),
            self.kept_told,
            self.kept_parts,
        )
        self._show_kept()

    def offer(self, *, one: bool, few: bool) -> None:
        """Let the part looked at be added and kept, and the best few be added, or not."""
        self.add.disabled = self.keep_button.disabled = not one
        self.add_best.disabled = not few

    # ------------------------------------------------------------ a trial

    def _enter(self, entries: Sequence[Any]) -> None:
        added = tuple(MadeUp.read(entry) for entry in entries)
        weighed(self.opened.shop, added)
        self.added = added

    def _try(self, added: Iterable[MadeUp]) -> None:
        with self.in_words(self.told):
            self.added = tuple(added)
            self._changed()

    def _add(self, parts: Sequence[MadeUp]) -> None:
        added = self.added
        for made in parts:
            taken = {one.sku for one in added}
            numbers = range(len(taken) + 1, 2 * len(taken) + 2)
            names = (f"{made.sku}-MADE{n}" for n in numbers)
            added = (*added, replace(made, sku=next(name for name in names if name not in taken)))
        if parts:
            self._try(added)

    def _take_out(self, sku: str) -> None:
        self._try(made for made in self.added if made.sku != sku)

    def refresh(self) -> None:
        """Show what the added parts change."""
        added = self.added
        self.taken_out.show([self._choice(m, "Take the {} out again") for m in added])
        if not added:
            self.drop(self.told)
            self.write(self.told, Say("Nothing has been added yet."))
            return
        self.write(self.told, status("Asking of every enquiry again …"))
        self.work_out(
            lambda: [Task(lambda: self._tried(added), lambda told: self.write(self.told, *told))],
            self.told,
            lambda whole: None if whole else self.write(self.told, Say("Stopped.")),
        )

    def _tried(self, added: tuple[MadeUp, ...]) -> tuple[Block, ...]:
        shop, vocabulary = self.opened.shop, self.opened.catalogue.vocabulary
        before, after = (
            (one.coverage(), one.shop.engine.count(Request()).number)
            for one in (weighed(shop), weighed(shop, added))
        )
        worths = (
            (m.title(vocabulary), weighed(shop, added[:n]).worth(m)) for n, m in enumerate(added)
        )
        return if_made(before, after, [(title, w) for title, w in worths if w is not None])

    def _choice(self, made: MadeUp, words: str) -> dict[str, str]:
        title = made.title(self.opened.catalogue.vocabulary)
        return {"name": made.sku, "label": words.format(title), "numbers": made.sku}

    # ------------------------------------------------------------ proposals that are kept

    def _keep(self) -> None:
        with self.in_words(self.kept_told):
            parts = self._looked_at()
            if parts:
                files = keep_parts(self.opened.shop.folder, parts)
                self._show_kept(status(f"Kept as {FOLDER}/{files[0].name}."))

    def _show_kept(self, *told: Block) -> None:
        """Show what the folder of proposals holds, and what of it is of no use."""
        found, problems = kept(self.opened.shop.folder, self.opened.catalogue.vocabulary)
        none = [] if found or told or problems else [Say("None is kept yet.")]
        self.write(self.kept_told, *told, *map(fault, problems), *none)
        self.kept_parts.show([self._choice(m, "Try the {}") for m in found])

    def _try_kept(self, sku: str) -> None:
        found, _ = kept(self.opened.shop.folder, self.opened.catalogue.vocabulary)
        self._add([made for made in found if made.sku == sku])
