"""Makes as a designer changed them, parts made up for a trial, and the plane these lie in.

A made-up part is plain data: it can be written down, read again and made up anew.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fitgraph.adapters.candidates import Candidate, by_size, candidates
from fitgraph.adapters.made import Words, make_part
from fitgraph.adapters.region import Barred, Region, axes_of, barred, region
from fitgraph.adapters.variants import grade_of, held_to, with_least_wall, with_material
from fitgraph.model import Catalogue, Make, Option, Part, Reference, Vocabulary
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class ChangedMake:
    """A make with what the designer has changed about it.

    Parameters
    ----------
    make : str
        Name in the vocabulary.
    material : str
        Identifier of the material.
    grade : int
        Standard tolerance grade of its classes; 0 where it has none.
    wall : float
        Least wall in mm.
    in_stock : bool
        Whether riders are served from stock only.
    """

    make: str
    material: str
    grade: int
    wall: float
    in_stock: bool = False

    @staticmethod
    def of(make: Make, *, in_stock: bool = False) -> ChangedMake:
        """Return a make as the vocabulary has it."""
        return ChangedMake(make.name, make.material, grade_of(make) or 0, make.least_wall, in_stock)

    def variant(self, vocabulary: Vocabulary) -> Make:
        """Return the make that is meant."""
        make = vocabulary.makes[self.make]
        made = with_material(with_least_wall(make, self.wall), self.material)
        return held_to(made, self.grade) if self.grade else made


@dataclass(frozen=True, slots=True)
class MadeUp:
    """A part that was added to the catalogue for a trial, so that it can be made up again."""

    choice: ChangedMake
    sizes: tuple[float, ...]
    words: tuple[str | None, ...]
    sku: str

    @staticmethod
    def of(choice: ChangedMake, candidate: Candidate, sku: str) -> MadeUp:
        """Return a candidate as an entry of a session."""
        return MadeUp(
            choice,
            tuple(candidate.sizes.values()),
            tuple(candidate.words.values()),
            sku,
        )

    def part(self, vocabulary: Vocabulary) -> Part:
        """Return the part.

        Raises
        ------
        ValueError
            If sizes or words are not those of the make.
        """
        make = self.choice.variant(vocabulary)
        sizes: dict[Reference, float] = {
            f.size: size for f, size in zip(make.free, self.sizes, strict=True)
        }
        words: Words = dict(zip(make.words, self.words, strict=True))
        return make_part(make, vocabulary, self.sku, sizes, words)

    def title(self, vocabulary: Vocabulary) -> str:
        """Return what people call it: what is made, then its sizes."""
        make = vocabulary.makes[self.choice.make]
        return f"{make.title}, {by_size(self.sizes, self.words)}"

    def plain(self) -> dict[str, Any]:
        """Return it as plain data."""
        c = self.choice
        return {
            "make": c.make,
            "material": c.material,
            "grade": c.grade,
            "least_wall": c.wall,
            "in_stock": c.in_stock,
            "sizes": list(self.sizes),
            "words": list(self.words),
            "sku": self.sku,
        }

    @staticmethod
    def read(entry: Mapping[str, Any]) -> MadeUp:
        """Return what :meth:`plain` wrote.

        Raises
        ------
        KeyError, TypeError, ValueError
            If it is no such entry.
        """
        words = tuple(None if w is None else str(w) for w in entry["words"])
        return MadeUp(
            ChangedMake(
                str(entry["make"]),
                str(entry["material"]),
                int(entry["grade"]),
                float(entry["least_wall"]),
                bool(entry.get("in_stock", False)),
            ),
            tuple(float(s) for s in entry["sizes"]),
            words,
            str(entry["sku"]),
        )


@dataclass(frozen=True, slots=True)
class Plane:
    """What is known of a make before anything is weighed."""

    make: Make
    axes: tuple[Reference, Reference | None]
    region: Region
    found: tuple[Candidate, ...]
    barred: tuple[Barred, ...]


def plane_of(
    catalogue: Catalogue, choice: ChangedMake, options: Mapping[str, Sequence[Option]]
) -> Plane:
    """Return the candidates of a make, and the plane that they lie in, whatever their words.

    Parameters
    ----------
    catalogue : Catalogue
        Whose counterparts count.
    choice : ChangedMake
        What is made.
    options : mapping of str to sequence of Option
        The options of every role.
    """
    make = choice.variant(catalogue.vocabulary)
    return Plane(
        make,
        axes_of(make),
        region(catalogue, make, options),
        tuple(candidates(catalogue, make, options)),
        tuple(barred(catalogue, make, options)),
    )
