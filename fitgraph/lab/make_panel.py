"""What is made, and how: the fields that ask for the parts of one make."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from fitgraph.adapters import Candidate, grade_of, grades_of, held_to
from fitgraph.adapters.made import words_text
from fitgraph.adapters.trials import ChangedMake
from fitgraph.lab.answering import Panel
from fitgraph.lab.fields import Field, Fields, field
from fitgraph.lab.look import checkbox, dropdown, grid
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.slider import Slider
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Make


class MakePanel(Panel):
    """The make, its material, grade and least wall, and whom it is made for.

    Parameters
    ----------
    opened : OpenCatalogue
        The catalogue.
    makes : mapping of str to Make
        What could be made, by name.
    first : str
        Name of the make to begin with.
    known : callable
        Returns the parts of a make as the vocabulary has it, as far as they are known.
    """

    def __init__(
        self,
        opened: OpenCatalogue,
        makes: dict[str, Make],
        first: str,
        known: Callable[[Make], Sequence[Candidate]],
    ) -> None:
        super().__init__(opened)
        self.makes, self._known = makes, known
        self.make = dropdown("What is made", [(m.title, n) for n, m in makes.items()], value=first)
        self.material, self.grade = dropdown("Material", []), dropdown("Tolerance", [])
        self.word = dropdown("Made for", [("any", "")])
        walls = {"min": 0.2, "max": 5.0, "step": 0.1, "digits": 1}  # [mm]
        self.wall = Slider(**walls, description="Least wall", unit="mm")
        self.in_stock = checkbox("Serve from stock only")
        self._offer()
        self.fields = Fields(
            make=Field(lambda: self.make.value, self._enter),
            material=field(self.material),
            grade=field(self.grade),
            least_wall=field(self.wall, float),
            word=field(self.word),
            in_stock=field(self.in_stock),
        )
        self.children = (
            grid([self.make, self.material, self.grade, self.word], "300px"),
            grid([self.wall, self.in_stock], "300px"),
        )

    def watch(self, made: Callable[[], object], changed: Callable[[], object]) -> None:
        """Call a function once another make is chosen, and one once another entry has changed."""

        def another() -> None:
            with self.fields.quietly():
                self._offer()
            made()

        asked = (self.material, self.grade, self.word, self.wall, self.in_stock)
        self.fields.watch(another, self.make)
        self.fields.watch(changed, *asked)

    @property
    def choice(self) -> ChangedMake:
        """Return the make as the fields have it."""
        return ChangedMake(
            self.make.value,
            self.material.value,
            self.grade.value or 0,
            round(self.wall.value, 3),
            self.in_stock.value,
        )

    def _enter(self, make: str) -> None:
        self.make.value = make
        self._offer()

    def _offer(self) -> None:
        """Offer what the make can be, and begin with how the vocabulary has it."""
        make, vocabulary = self.makes[self.make.value], self.opened.catalogue.vocabulary
        self.material.options = [
            (m.title, n) for n, m in MATERIALS.items() if make.works(n, m.family)
        ]
        self.material.value = make.material
        grades = grades_of(make, vocabulary)
        self.grade.options = [(_classes(make, g), g) for g in grades] or [
            ("as the vocabulary has it", 0)
        ]
        self.grade.disabled = not grades
        self.grade.value = grade_of(make) or 0
        self.wall.disabled = make.bore is None
        self.wall.layout.display = "none" if make.bore is None else None
        self.wall.value = make.least_wall
        self._offer_words(self._known(make) if make.words else ())

    def _offer_words(self, found: Sequence[Candidate]) -> None:
        words = sorted({words_text(c.words) for c in found})
        self.word.options = [("any", ""), *((w, w) for w in words)]
        self.word.value = ""
        self.word.layout.display = None if words else "none"

    def came(self, found: Sequence[Candidate]) -> None:
        """Offer the words of parts that had to be waited for."""
        if len(self.word.options) == 1 and self.makes[self.make.value].words:
            with self.fields.quietly():
                self._offer_words(found)


def _classes(make: Make, grade: int) -> str:
    held = held_to(make, grade)
    return f"IT{grade}: {', '.join(f.klass for f in held.free if f.klass)}"
