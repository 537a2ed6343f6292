"""The options of one role as columns of numbers, read once and used by every joint."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Floats
from fitgraph.graph.options import presence_of
from fitgraph.mechanics.rules import UNKNOWN_WORD
from fitgraph.model import Condition, Option, Presence, Reference, contradictory


def fold(word: str) -> str:
    """Return a word as it is compared: without case and spaces."""
    return "".join(word.casefold().split())


class WordCodes:
    """Numbers for words, so that arrays can compare them."""

    def __init__(self) -> None:
        self._codes: dict[str, int] = {}

    def code(self, word: str | None) -> int:
        """Return the number of a word; ``UNKNOWN_WORD`` for None."""
        if word is None or not word.strip():
            return UNKNOWN_WORD
        return self._codes.setdefault(fold(word), len(self._codes))


def word_of(option: Option, reference: Reference) -> str | None:
    """Return the word a reference names, None where it is not known."""
    if option.part is None:
        return None
    if reference.feature is None:
        return getattr(option.part, reference.name) or None
    feature = option.features.get(reference.feature)
    word = feature.words.get(reference.name) if feature is not None else None
    return word.value if word is not None else None


class Columns:
    """Presence, limits and words of the options of one role.

    Parameters
    ----------
    options : sequence of Option
        One row each.
    codes : WordCodes
        Shared numbers for words.
    """

    def __init__(self, options: Sequence[Option], codes: WordCodes) -> None:
        self.options = options
        self._codes = codes
        self._presence: dict[str | None, Floats] = {}
        self._limits: dict[Reference, tuple[Floats, Floats]] = {}
        self._words: dict[Reference, Floats] = {}

    def supposing(self, feature: str, as_if: Presence, at: npt.NDArray[np.intp]) -> Columns:
        """Return the columns of some options as they are once somebody has looked for a feature.

        Parameters
        ----------
        feature : str
            Where it is not known whether an option has it, `as_if` counts instead.
        as_if : Presence
            Present with the sizes and words that are given, or absent.
        at : ndarray of int
            Which options.
        """
        return _Supposed(self, feature, as_if, at)

    def presence(self, feature: str | None) -> Floats:
        """Return whether each option has a feature, or is there at all for None."""
        if feature not in self._presence:
            found = [int(presence_of(o, feature)) for o in self.options]
            self._presence[feature] = np.array(found, dtype=float)
        return self._presence[feature]

    def holds(self, condition: Condition) -> Floats:
        """Return whether a condition holds, on the scale of ``Presence``."""
        presence = self.presence(condition.feature)
        return presence if condition.wanted else 2.0 - presence

    def hold(self, conditions: Iterable[Condition]) -> Floats:
        """Return whether conditions on this role hold together, on the scale of ``Presence``."""
        asked = tuple(conditions)
        if contradictory(asked):
            return np.full(len(self.options), float(Presence.ABSENT))
        held = np.full(len(self.options), float(Presence.PRESENT))
        for condition in asked:
            held = np.minimum(held, self.holds(condition))
        return held

    def _raw(self, reference: Reference) -> tuple[Floats, Floats]:
        if reference not in self._limits:
            lo, hi = [], []
            for option in self.options:
                feature = option.features.get(reference.feature or "")
                dimension = feature.lengths.get(reference.name) if feature is not None else None
                low, high = (-math.inf, math.inf) if dimension is None else dimension.bounds
                lo.append(low)
                hi.append(high)
            self._limits[reference] = (np.array(lo, dtype=float), np.array(hi, dtype=float))
        return self._limits[reference]

    def limits(self, reference: Reference, *, optional: bool) -> tuple[Floats, Floats]:
        """Return the limits in mm of a dimension.

        An optional dimension counts as zero where the feature is absent, and
        may be zero where nobody knows whether the feature is there.
        """
        lo, hi = self._raw(reference)
        presence = self.presence(reference.feature)
        void = presence == Presence.ABSENT
        if optional:
            lo = np.where(presence == Presence.UNKNOWN, 0.0, np.maximum(lo, 0.0))
        return np.where(void, 0.0, lo), np.where(void, 0.0, hi)

    def open_limits(self, reference: Reference) -> tuple[Floats, Floats]:
        """Return the limits in mm of a dimension that a joint can do without.

        Where the feature is not there, or may not be, nothing is known.
        """
        lo, hi = self._raw(reference)
        void = self.presence(reference.feature) != Presence.PRESENT
        return np.where(void, -math.inf, lo), np.where(void, math.inf, hi)

    def words(self, reference: Reference) -> Floats:
        """Return the codes of a word."""
        if reference not in self._words:
            codes = [self._codes.code(word_of(o, reference)) for o in self.options]
            self._words[reference] = np.array(codes, dtype=float)
        return self._words[reference]


class _Supposed(Columns):
    """Some options of one role, read from the columns of all."""

    def __init__(
        self, whole: Columns, feature: str, as_if: Presence, at: npt.NDArray[np.intp]
    ) -> None:
        super().__init__([whole.options[n] for n in at.tolist()], whole._codes)
        self._whole, self._feature, self._as_if, self._at = whole, feature, as_if, at

    def presence(self, feature: str | None) -> Floats:
        found = self._whole.presence(feature)[self._at]
        if feature == self._feature:
            found = np.where(found == Presence.UNKNOWN, float(self._as_if), found)
        return found

    def _raw(self, reference: Reference) -> tuple[Floats, Floats]:
        lo, hi = self._whole._raw(reference)
        return lo[self._at], hi[self._at]

    def words(self, reference: Reference) -> Floats:
        found = self._whole.words(reference)[self._at]
        if reference.feature == self._feature and self._as_if is Presence.ABSENT:
            unseen = self._whole.presence(self._feature)[self._at] == Presence.UNKNOWN
            found = np.where(unseen, float(UNKNOWN_WORD), found)
        return found


def columns_of(options: Mapping[str, Sequence[Option]], codes: WordCodes) -> dict[str, Columns]:
    """Return the columns of several roles, with shared numbers for words."""
    return {role: Columns(of_role, codes) for role, of_role in options.items()}
