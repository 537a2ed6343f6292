"""The same make of another material, held to another grade, or with another least wall."""

from __future__ import annotations

from dataclasses import replace

from fitgraph.mechanics.limits_and_fits import (
    ToleranceClass,
    deviations_mm,
    parse_tolerance_class,
)
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Make, Vocabulary

#: Grades of ISO 286-1 that are meant for fits; turning and milling hold the finer ones with
#: care and the coarser ones at leisure (common practice, no source).
GRADES = tuple(range(6, 14))


def with_material(make: Make, material: str) -> Make:
    """Return a make of another material.

    Parameters
    ----------
    make : Make
        As the vocabulary has it.
    material : str
        Identifier in the table of materials. Cost model and least wall stay those of the make.

    Raises
    ------
    KeyError
        If the table does not have it.
    """
    return replace(make, material=MATERIALS[material].name)


def with_least_wall(make: Make, wall: float) -> Make:
    """Return a make that has to leave another wall.

    Parameters
    ----------
    make : Make
        As the vocabulary has it.
    wall : float
        In mm, not below zero.

    Raises
    ------
    ValueError
        If it is below zero.
    """
    if wall < 0:
        raise ValueError("the least wall cannot be below zero")
    return replace(make, least_wall=wall)


def grade_of(make: Make) -> int | None:
    """Return the coarsest grade that a make's classes name; None where it has no class."""
    found = [parse_tolerance_class(f.klass).grade for f in make.free if f.klass]
    return max(found, default=None)


def held_to(make: Make, grade: int) -> Make:
    """Return a make whose classes have another grade; plain limits stay as they are.

    Parameters
    ----------
    make : Make
        As the vocabulary has it.
    grade : int
        Standard tolerance grade of ISO 286-1, 1 to 18.

    Examples
    --------
    ``H9`` and ``h9`` held to grade 7 become ``H7`` and ``h7``.
    """
    free = tuple(
        replace(f, klass=str(ToleranceClass(parse_tolerance_class(f.klass).letter, grade)))
        if f.klass
        else f
        for f in make.free
    )
    return replace(make, free=free)


def grades_of(make: Make, vocabulary: Vocabulary) -> tuple[int, ...]:
    """Return the grades to which a make can be held; empty where it names no class.

    Parameters
    ----------
    make : Make
        What is made.
    vocabulary : Vocabulary
        Says which sizes are plausible: not every class exists at every size.
    """
    own = grade_of(make)
    if own is None:
        return ()
    return tuple(g for g in sorted({*GRADES, own}) if _exists(held_to(make, g), vocabulary))


def _exists(make: Make, vocabulary: Vocabulary) -> bool:
    role = vocabulary.roles[make.role]
    for free in make.free:
        plausible = role.features[free.size.feature or ""].dimensions[free.size.name].plausible
        for nominal in plausible if free.klass and plausible is not None else ():
            try:
                deviations_mm(nominal, free.klass)
            except ValueError:
                return False
    return True
