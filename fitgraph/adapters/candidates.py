"""Every part worth making: one for each best cell of the arrangement of all counterparts.

What a made part fits, joint by joint, is decided dimension by dimension, and within a cell of
each dimension's arrangement (:mod:`fitgraph.adapters.cells`) nothing changes. More counterparts
never mean fewer builds, so only cells that no other betters have to be looked at, and one size
of each is enough: no other size of that make fits anything more. The least wall ties outside
and bore to each other; where it forbids the best cells of both together, the next best that it
allows are taken.

A ring of a nest (:mod:`fitgraph.mechanics.nests`) is different: sizes of one cell meet the same
counterparts, but the looser ones leave more to be taken up by the rings around. There the
**snug corner** is taken, the least bore and the widest outside of the cells:

- Let a part with the bore *d* and the outside *D* meet some counterparts. Go down with the bore
  until the first of them no longer slides in, and up with the outside until the first no longer
  slides over. On the way no counterpart is lost: what else a joint asks of a bore it asks from
  above (that a slot closes it, that a cap covers it), of an outside from below, and both steps
  only thicken the wall.
- In every nest the ring adds *D - d* to the packed diameter, at the worst sizes the least *D*
  less the most *d*. Both steps make that larger, so that every nest around it that closed for
  certain still does.
- Where it is itself the ring that closes, it needs *d - s(d)*, which falls with the bore.

So for every part there is one at a snug corner that makes all of its builds. The corner is that
of a bore at which a counterpart begins to slide in and of an outside at which one ceases to
slide over; not only of best cells, as a snugger part that meets fewer may close where another
does not. The one thing that goes the other way is that a thicker wall lets the part's own slot
close a trifle less, w d/(2 pi D^2) a millimetre of outside (a hundredth for a sleeve of 25 on
32 mm). Parts that live on that alone are not looked for.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import field

import numpy as np

from fitgraph.adapters.cells import SAME_MM, Cell, cells, peaks
from fitgraph.adapters.made import Words, features_of, held, make_part, shape_of, stretches
from fitgraph.array_types import Bools, Floats
from fitgraph.graph.columns import Columns, WordCodes, columns_of, fold, word_of
from fitgraph.graph.joints import asked, conditions_of, joint_table
from fitgraph.graph.options import plain
from fitgraph.mechanics.rules import RULES, Limits
from fitgraph.model import (
    Catalogue,
    FreeSize,
    Joint,
    Make,
    Option,
    Part,
    Presence,
    Reference,
    Verdict,
)
from fitgraph.records import dataclass

#: How far inside a cell a size lies that no counterpart bounds on the other side, in mm.
_ONE_SIDED = 0.5

#: Shares of the wanted step that a size may be rounded to where a cell is narrow.
FINER = (1.0, 0.2, 0.02)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A part that could be made.

    Parameters
    ----------
    make : Make
        Of which kind.
    sizes : mapping of Reference to float
        Nominal size in mm of each free dimension.
    cells : mapping of Reference to Cell
        Where the same counterparts fit.
    words : mapping of Reference to str or None
        The words chosen.
    part : Part
        The same as a part of the catalogue.
    tightens : mapping of Reference to int
        For each size of a ring in a nest, -1 where a smaller one leaves less to take up and 1
        where a larger one does.
    standard : tuple of Reference
        The sizes that the process has gauges or cutters for.
    """

    make: Make
    sizes: Mapping[Reference, float]
    cells: Mapping[Reference, Cell]
    words: Words
    part: Part
    tightens: Mapping[Reference, int] = field(default_factory=dict)
    standard: tuple[Reference, ...] = ()

    @property
    def by_size(self) -> str:
        """Return what tells it from its like, as people say it."""
        return by_size(self.sizes.values(), self.words.values())

    @property
    def slack_mm(self) -> float:
        """Return how far every nominal size may shift before the first counterpart is lost."""
        found = [
            min(
                size - cell.lo if cell.bound_below else math.inf,
                cell.hi - size if cell.bound_above else math.inf,
            )
            for size, cell in ((self.sizes[r], self.cells[r]) for r in self.sizes)
        ]
        return max(min(found), 0.0)


def by_size(sizes: Iterable[float], words: Iterable[str | None]) -> str:
    """Return what tells a made part from its like: its sizes [mm] and its words.

    Examples
    --------
    >>> by_size([25.4, 31.75], ["Skerrowby", None])
    '25.4 by 31.75 mm, Skerrowby'
    """
    across = " by ".join(f"{size:g}" for size in sizes)
    return ", ".join([f"{across} mm", *filter(None, words)])


def label(make: Make, sizes: Mapping[Reference, float], words: Words) -> str:
    """Return a stock number for a made part: the make, its sizes, its words."""
    pieces = [make.name, *(f"{size:g}" for size in sizes.values())]
    pieces += [word for word in words.values() if word]
    return "-".join("".join(c for c in p if c.isalnum() or c == ".") for p in pieces).upper()


class Counterparts:
    """All options of the other roles, and the intervals they leave to each free dimension."""

    def __init__(
        self, catalogue: Catalogue, make: Make, options: Mapping[str, Sequence[Option]]
    ) -> None:
        self.catalogue, self.make, self.options = catalogue, make, options
        self.joints = [
            j
            for j in asked(catalogue.vocabulary.joints, tidy=True)
            if make.role in j.roles and all(options.get(r) for r in j.roles if r != make.role)
        ]
        self.codes = WordCodes()
        others = {r: os for r, os in options.items() if r != make.role}
        self.columns = columns_of(others, self.codes)
        self._kept: dict[tuple[tuple[Reference, str | None], ...], dict[str, Bools]] = {}
        self._rows: dict[tuple[str, str, str, bytes], Floats] = {}

    @property
    def snug(self) -> bool:
        """Whether the part is a ring of a nest, so that a snug one leaves less to take up."""
        own = {self.make.bore, self.make.outside} & {f.size for f in self.make.free}
        return any({ring.bore, ring.outside} & own for j in self.joints for ring in j.rings)

    @property
    def tightens(self) -> dict[Reference, int]:
        """Return which way each free size of a ring in a nest leaves less to take up."""
        make, sizes = self.make, {f.size for f in self.make.free}
        if not self.snug:
            return {}
        ways = ((make.bore, -1), (make.outside, 1))
        return {size: way for size, way in ways if size is not None and size in sizes}

    @property
    def tied(self) -> bool:
        """Whether the least wall ties two free dimensions to each other."""
        sizes = [f.size for f in self.make.free]
        return self.make.bore in sizes and self.make.outside in sizes

    def words(self) -> Iterator[Words]:
        """Yield every choice of words that some counterpart asks for."""
        values: list[list[str | None]] = []
        for made in self.make.words:
            found: dict[str, str] = {}
            for joint in self.joints:
                if made not in joint.arguments.values():
                    continue
                for other in joint.arguments.values():
                    if other.role == self.make.role:
                        continue
                    for option in self.options[other.role]:
                        word = word_of(option, other)
                        if word and word.strip():
                            found.setdefault(fold(word), word.strip())
            choice: list[str | None] = [found[key] for key in sorted(found)]
            values.append([*choice, None] if self.make.wordless else choice)
        for chosen in itertools.product(*values):
            yield dict(zip(self.make.words, chosen, strict=True))

    def example(self, words: Words) -> Option:
        """Return the made part with these words and sizes of no meaning."""
        sizes = {f.size: sum(self.domain(f)) / 2 for f in self.make.free}
        vocabulary = self.catalogue.vocabulary
        features = features_of(self.make, vocabulary, sizes, words)
        return plain(Part("?", self.make.role, features=features))

    def domain(self, free: FreeSize) -> tuple[float, float]:
        """Return the nominal sizes in mm that are plausible."""
        role = self.catalogue.vocabulary.roles[free.size.role]
        found = role.features[free.size.feature or ""].dimensions[free.size.name].plausible
        return found if found is not None else (0.0, 0.0)

    def kept(self, words: Words) -> dict[str, Bools]:
        """Return which options of each role the words leave."""
        chosen = tuple(words.items())
        if chosen not in self._kept:
            self._kept[chosen] = self._left_by(words)
        return self._kept[chosen]

    def _left_by(self, words: Words) -> dict[str, Bools]:
        keep = {r: np.ones(len(c.options), dtype=bool) for r, c in self.columns.items()}
        example = Columns([self.example(words)], self.codes)
        for joint in self.joints:
            others = [r for r in joint.roles if r != self.make.role]
            if len(others) != 1 or not set(self.make.words) & set(joint.arguments.values()):
                continue
            table = joint_table(joint, {**self.columns, self.make.role: example})
            at = table.roles.index(self.make.role)
            fits = table.verdicts.take(0, axis=at) == Verdict.FITS
            keep[others[0]] &= fits[table.class_of[1 - at]]
        return keep

    def windows(
        self, free: FreeSize, keep: Mapping[str, Bools], example: Option, *, settled: bool = False
    ) -> Iterator[tuple[Joint, Floats, Floats]]:
        """Yield the joints of a dimension, with what each counterpart leaves to it in mm.

        Those are the least lower and the most upper limit, one each a counterpart. While the
        other sizes of the part are not `settled`, its wall counts as thin.
        """
        for joint in self.joints:
            for argument, reference in joint.arguments.items():
                if reference == free.size and argument not in RULES[joint.rule].may_lack:
                    found = self._window(joint, argument, keep, example, settled)
                    if found is not None:
                        yield joint, found[0], found[1]

    def intervals(
        self, free: FreeSize, keep: Mapping[str, Bools], example: Option, *, settled: bool = False
    ) -> tuple[Floats, Floats]:
        """Return least lower and most upper limit for each counterpart of a dimension, in mm."""
        found = list(self.windows(free, keep, example, settled=settled))
        least = [np.zeros(0), *(of_joint for _, of_joint, _ in found)]
        most = [np.zeros(0), *(of_joint for _, _, of_joint in found)]
        return np.concatenate(least), np.concatenate(most)

    def lines(
        self, words: Words
    ) -> tuple[dict[Reference, list[list[Cell]]], dict[str, Bools], Option]:
        """Return the cells of every dimension, what the words leave, and an example.

        A dimension has one list of cells for each stretch of equal deviations.
        """
        keep, example = self.kept(words), self.example(words)
        return {f.size: self.cells_of(f, keep, example) for f in self.make.free}, keep, example

    def cells_of(
        self, free: FreeSize, keep: Mapping[str, Bools], example: Option
    ) -> list[list[Cell]]:
        """Return the cells of a dimension, one list for each stretch of equal deviations."""
        domain = self.domain(free) if self.tied else _fixed_domain(self, free, example)
        least, most = self.intervals(free, keep, example)
        found = []
        for low, high in stretches(free, domain):
            if low > high:
                continue
            lower, upper = held(free, low)
            found.append(cells(least - lower, most - upper, (low, high), (lower, upper)))
        return found

    def _window(
        self,
        joint: Joint,
        argument: str,
        keep: Mapping[str, Bools],
        example: Option,
        settled: bool,
    ) -> tuple[Floats, Floats] | None:
        rule = RULES[joint.rule]
        own = Columns([example], self.codes)
        wanted = conditions_of(joint)
        if any(c.role == self.make.role and own.holds(c)[0] == Presence.ABSENT for c in wanted):
            return None
        rows: list[Floats] = []
        slots: dict[str, tuple[int, int]] = {}
        for role in dict.fromkeys(r.role for r in joint.arguments.values()):
            mine = [(n, r) for n, r in joint.arguments.items() if r.role == role and n != argument]
            if not mine:
                continue
            for k, (name, _) in enumerate(mine):
                slots[name] = (len(rows), 2 * k)
            columns, key = own, None
            if role != self.make.role:  # what the others have does not hang on the part's sizes
                columns = self.columns[role]
                key = (joint.name, argument, role, keep[role].tobytes())
                if key in self._rows:
                    rows.append(self._rows[key])
                    continue
            lets = np.ones(1, dtype=bool) if role == self.make.role else keep[role].copy()
            for condition in wanted:
                if condition.role == role:
                    lets &= columns.holds(condition) > Presence.ABSENT
            table: list[Floats] = []
            for name, reference in mine:
                if name not in rule.may_lack:
                    limits = columns.limits(reference, optional=name in rule.optional)
                elif role == self.make.role and not settled:  # as thin as may be
                    limits = (np.zeros(1), np.zeros(1))
                else:
                    limits = columns.open_limits(reference)
                table.extend(limits)
            rows.append(np.unique(np.column_stack(table)[lets], axis=0))
            if key is not None:
                self._rows[key] = rows[-1]
        shape = [range(len(r)) for r in rows]
        picked = np.array(list(itertools.product(*shape)), dtype=np.intp).reshape(-1, len(rows))
        others = {
            name: Limits(rows[at][picked[:, at], column], rows[at][picked[:, at], column + 1])
            for name, (at, column) in slots.items()
        }
        return RULES[joint.rule].inverse(argument, others, joint.limits)


def _walled(
    bores: Sequence[Cell], outsides: Sequence[Cell], wall: float
) -> list[tuple[Cell, Cell]]:
    """Return the pairs of cells that leave a wall and that no other such pair betters.

    A thinner bore and a wider outside leave more wall. So a cell counts if a step down in bore
    (up in outside) loses a counterpart; it is bettered by its neighbour where that one fits
    more and leaves a wall as well.
    """
    inner = [n for n, c in enumerate(bores) if c.opens]
    outer = [n for n, c in enumerate(outsides) if c.closes]
    if not inner or not outer:
        return []
    thin = np.array([c.lo + c.upper for c in bores])
    wide = np.array([c.hi + c.lower for c in outsides])
    room = wide[None, :] - thin[:, None] >= 2 * wall - SAME_MM
    room = np.pad(room, ((0, 1), (1, 0)))
    i, j = np.array(inner), np.array(outer)
    here = room[np.ix_(i, j + 1)]
    up = room[np.ix_(i + 1, j + 1)] & ~np.array([bores[n].peak for n in inner])[:, None]
    down = room[np.ix_(i, j)] & ~np.array([outsides[n].peak for n in outer])[None, :]
    return [(bores[i[a]], outsides[j[b]]) for a, b in np.argwhere(here & ~up & ~down)]


def _snug(bores: Sequence[Cell], outsides: Sequence[Cell], wall: float) -> list[tuple[Cell, Cell]]:
    """Return the pairs of cells with a snug corner of their own that leaves a wall."""
    return [
        (bore, outside)
        for bore in bores
        if bore.opens
        for outside in outsides
        if outside.closes
        and outside.hi + outside.lower - bore.lo - bore.upper >= 2 * wall - SAME_MM
    ]


def middle(cell: Cell) -> float:
    """Return the size of a cell that is farthest from losing a counterpart."""
    half = (cell.hi - cell.lo) / 2
    if cell.bound_below and not cell.bound_above:
        return cell.lo + min(half, _ONE_SIDED)
    if cell.bound_above and not cell.bound_below:
        return cell.hi - min(half, _ONE_SIDED)
    return cell.lo + half


def _rounded(size: float, cell: Cell, step: float) -> float:
    """Return a size rounded to a step where its cell allows, else to a part of the step."""
    for unit in (step * share for share in FINER):
        near = round(round(size / unit) * unit, 6)
        if _inside(near, size, cell):
            return near
    return size


def _pair_sizes(bore: Cell, outside: Cell, wall: float, step: float) -> tuple[float, float]:
    """Return sizes in the middle of two cells, moved apart as far as the wall wants it."""
    inner, outer = middle(bore), middle(outside)
    lacking = 2 * wall - (outer + outside.lower - inner - bore.upper)
    if lacking > 0:
        down, up = inner - bore.lo, outside.hi - outer
        share = min(lacking / (down + up), 1.0) if down + up > 0 else 0.0
        inner, outer = inner - share * down, outer + share * up
    for unit in (step * share for share in FINER):
        low, high = (round(round(x / unit) * unit, 6) for x in (inner, outer))
        if high + outside.lower - low - bore.upper < 2 * wall:
            low = round(math.floor(inner / unit + SAME_MM) * unit, 6)
            high = round(math.ceil(outer / unit - SAME_MM) * unit, 6)
        if _inside(low, inner, bore) and _inside(high, outer, outside):
            return low, high
    return inner, outer


def _inside(size: float, wanted: float, cell: Cell) -> bool:
    """Return whether a size is nearer to the wanted one than half the way out of the cell."""
    room = min(wanted - cell.lo, cell.hi - wanted) / 2
    return abs(size - wanted) <= room + SAME_MM


def _fixed_domain(
    counterparts: Counterparts, free: FreeSize, example: Option
) -> tuple[float, float]:
    """Return the plausible sizes that leave the wall where the other side of it is fixed."""
    make = counterparts.make
    low, high = counterparts.domain(free)
    shape = shape_of(make, example.features)
    sizes = {f.size for f in make.free}
    if free.size == make.outside and make.bore not in sizes and shape.bore is not None:
        low = max(low, shape.bore.hi + 2 * make.least_wall - min(free.lower, 0.0))
    if free.size == make.bore and make.outside not in sizes:
        high = min(high, shape.outside.lo - 2 * make.least_wall - max(free.upper, 0.0))
    return low, high


def _one_by_one(
    counterparts: Counterparts, size: Reference, line: Sequence[Cell]
) -> list[dict[Reference, tuple[Cell, float]]]:
    """Return the sizes worth looking at of a dimension that no wall ties to another."""
    make = counterparts.make
    if counterparts.snug and size == make.bore:
        return [{size: (cell, cell.lo)} for cell in line if cell.opens]
    if counterparts.snug and size == make.outside:
        return [{size: (cell, cell.hi)} for cell in line if cell.closes]
    return [{size: (cell, _rounded(middle(cell), cell, make.step))} for cell in peaks(line)]


def candidates(
    catalogue: Catalogue, make: Make, options: Mapping[str, Sequence[Option]]
) -> list[Candidate]:
    """Return every part of a make that no other betters.

    Parameters
    ----------
    catalogue : Catalogue
        Whose counterparts count.
    make : Make
        What is made.
    options : mapping of str to sequence of Option
        The options of every role.

    Returns
    -------
    list of Candidate
        For any other part of the make, with any sizes and words, there is one here that
        certainly fits all that it certainly fits. A ring of a nest is at a snug corner, so that
        every nest it closes in closes here as well.
    """
    counterparts = Counterparts(catalogue, make, options)
    sizes = [f.size for f in make.free]
    tied, snug = counterparts.tied, counterparts.snug
    found = []
    for words in counterparts.words():
        lines, _, _ = counterparts.lines(words)
        choices: list[list[dict[Reference, tuple[Cell, float]]]] = []
        if tied and make.bore is not None:
            pairs = [
                pair
                for bores in lines[make.bore]
                for outsides in lines[make.outside]
                for pair in (_snug if snug else _walled)(bores, outsides, make.least_wall)
            ]
            choice = []
            for inner, outer in pairs:
                low, high = inner.lo, outer.hi
                if not snug:
                    low, high = _pair_sizes(inner, outer, make.least_wall, make.step)
                choice.append({make.bore: (inner, low), make.outside: (outer, high)})
            choices.append(choice)
        for size in sizes:
            if tied and size in (make.bore, make.outside):
                continue
            choices.append(
                [at for line in lines[size] for at in _one_by_one(counterparts, size, line)]
            )
        for combination in itertools.product(*choices):
            chosen = {r: v for piece in combination for r, v in piece.items()}
            nominal = {r: chosen[r][1] for r in sizes}
            sku = label(make, nominal, words)
            part = make_part(make, catalogue.vocabulary, sku, nominal, words)
            cells_at = {r: chosen[r][0] for r in sizes}
            found.append(
                Candidate(make, nominal, cells_at, dict(words), part, counterparts.tightens)
            )
    return found
