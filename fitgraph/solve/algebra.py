"""How the values of alternatives, and of parts of one build, go together.

One pass over a plan serves any commutative semiring: numbers of builds, least costs, or whether
there is a build at all (Aji and McEliece's generalised distributive law).

References
----------
S. M. Aji, R. J. McEliece, "The generalized distributive law", IEEE Transactions on Information
Theory 46 (2000) 325-343 (reference checked).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Ints

Numbers = npt.NDArray[Any]


class Algebra(Protocol):
    """A commutative semiring over arrays of one type of numbers."""

    none: float
    one: float
    dtype: Any

    def lift(self, allowed: Bools) -> Numbers:
        """Return one where something is allowed, none elsewhere."""
        ...

    def both(self, a: Numbers, b: Numbers) -> Numbers:
        """Return the values of two parts of one build, together."""
        ...

    def only(self, values: Numbers, lifted: Numbers) -> Numbers:
        """Return values where something lifted is allowed, none elsewhere."""
        ...

    def fold(self, values: Numbers, axis: int | tuple[int, ...]) -> Numbers:
        """Return the value of all alternatives along some axes."""
        ...

    def meet(self, left: Numbers, right: Numbers) -> Numbers:
        """Return, over (..., a, c), the alternatives k of left (..., a, k), right (..., k, c)."""
        ...

    def segments(self, values: Numbers, starts: Ints, axis: int) -> Numbers:
        """Return the alternatives of segments along an axis."""
        ...

    def add(self, into: Numbers, values: Numbers) -> Numbers:
        """Add alternatives to an array, in place, and return it."""
        ...

    def gather_at(self, into: Numbers, at: Any, values: Numbers) -> None:
        """Add alternatives to places of an array, in place."""
        ...

    def scatter(self, into: Numbers, at: Ints, values: Numbers) -> None:
        """Add alternatives (requests, n) to the same n places of each row, in place."""
        ...


class Counting:
    """Numbers: sums of products, exact below 2**53."""

    none, one = 0.0, 1.0
    dtype: Any = np.float64

    def lift(self, allowed: Bools) -> Numbers:
        return allowed.astype(self.dtype)

    def both(self, a: Numbers, b: Numbers) -> Numbers:
        return a * b

    def only(self, values: Numbers, lifted: Numbers) -> Numbers:
        return values * lifted

    def fold(self, values: Numbers, axis: int | tuple[int, ...]) -> Numbers:
        return np.asarray(values.sum(axis=axis))

    def meet(self, left: Numbers, right: Numbers) -> Numbers:
        return np.matmul(left, right)

    def segments(self, values: Numbers, starts: Ints, axis: int) -> Numbers:
        return np.add.reduceat(values, starts, axis=axis)

    def add(self, into: Numbers, values: Numbers) -> Numbers:
        return np.add(into, values, out=into)

    def gather_at(self, into: Numbers, at: Any, values: Numbers) -> None:
        np.add.at(into, at, values)

    def scatter(self, into: Numbers, at: Ints, values: Numbers) -> None:
        for row, mine in zip(into, values, strict=True):
            row += np.bincount(at, mine, len(row))


class Modular(Counting):
    """Numbers modulo primes small enough that sums of products stay exact in float64.

    Parameters
    ----------
    primes : sequence of int
        One for each row of every array, with ``terms * prime ** 2 < 2 ** 53`` for the longest
        sum there is.
    """

    def __init__(self, primes: Sequence[float]) -> None:
        self.primes = np.array(primes, dtype=float)
        self.inverse = 1.0 / self.primes

    def _rest(self, values: Numbers) -> Numbers:
        """Return remainders between plus and minus half a prime."""
        primes = self.primes.reshape(-1, *(1 for _ in values.shape[1:]))
        times = values * self.inverse.reshape(primes.shape)
        np.rint(times, out=times)
        times *= primes
        return np.subtract(values, times, out=times)

    def both(self, a: Numbers, b: Numbers) -> Numbers:
        return self._rest(a * b)

    def fold(self, values: Numbers, axis: int | tuple[int, ...]) -> Numbers:
        return self._rest(np.asarray(values.sum(axis=axis)))

    def meet(self, left: Numbers, right: Numbers) -> Numbers:
        return self._rest(np.matmul(left, right))

    def segments(self, values: Numbers, starts: Ints, axis: int) -> Numbers:
        return self._rest(np.add.reduceat(values, starts, axis=axis))

    def add(self, into: Numbers, values: Numbers) -> Numbers:
        into[...] = self._rest(into + values)
        return into

    def gather_at(self, into: Numbers, at: Any, values: Numbers) -> None:
        np.add.at(into, at, values)
        into[...] = self._rest(into)

    def scatter(self, into: Numbers, at: Ints, values: Numbers) -> None:
        super().scatter(into, at, values)
        into[...] = self._rest(into)


class Existing(Counting):
    """Whether there is a build: one or zero, in as few bytes as matrices are multiplied fast in."""

    dtype: Any = np.float32

    def fold(self, values: Numbers, axis: int | tuple[int, ...]) -> Numbers:
        return np.asarray(values.max(axis=axis, initial=0.0))

    def meet(self, left: Numbers, right: Numbers) -> Numbers:
        found = np.matmul(left, right)
        return np.minimum(found, 1.0, out=found)

    def segments(self, values: Numbers, starts: Ints, axis: int) -> Numbers:
        return np.maximum.reduceat(values, starts, axis=axis)

    def add(self, into: Numbers, values: Numbers) -> Numbers:
        return np.maximum(into, values, out=into)

    def gather_at(self, into: Numbers, at: Any, values: Numbers) -> None:
        np.maximum.at(into, at, values)

    def scatter(self, into: Numbers, at: Ints, values: Numbers) -> None:
        for row, mine in zip(into, values, strict=True):
            row[at[mine > 0]] = self.one


class LeastCosts:
    """Least costs: minima of sums, where infinity stands for what cannot be."""

    none, one = np.inf, 0.0
    dtype: Any = np.float64

    def lift(self, allowed: Bools) -> Numbers:
        return np.where(allowed, 0.0, np.inf)

    def both(self, a: Numbers, b: Numbers) -> Numbers:
        return a + b

    def only(self, values: Numbers, lifted: Numbers) -> Numbers:
        return values + lifted

    def fold(self, values: Numbers, axis: int | tuple[int, ...]) -> Numbers:
        return np.asarray(values.min(axis=axis, initial=np.inf))

    def meet(self, left: Numbers, right: Numbers) -> Numbers:
        a, k, c = left.shape[-2], left.shape[-1], right.shape[-1]
        lead = np.broadcast_shapes(left.shape[:-2], right.shape[:-2])
        out = np.empty((*lead, a, c))
        if a * k <= 4096 // max(c, 1):
            np.min(left[..., :, :, None] + right[..., None, :, :], axis=-2, initial=np.inf, out=out)
        elif a <= c:
            for n in range(a):
                np.min(left[..., n, :, None] + right, axis=-2, initial=np.inf, out=out[..., n, :])
        else:
            turned = np.swapaxes(right, -1, -2)
            for n in range(c):
                np.min(left + turned[..., n, None, :], axis=-1, initial=np.inf, out=out[..., :, n])
        return out

    def segments(self, values: Numbers, starts: Ints, axis: int) -> Numbers:
        return np.minimum.reduceat(values, starts, axis=axis)

    def add(self, into: Numbers, values: Numbers) -> Numbers:
        return np.minimum(into, values, out=into)

    def gather_at(self, into: Numbers, at: Any, values: Numbers) -> None:
        np.minimum.at(into, at, values)

    def scatter(self, into: Numbers, at: Ints, values: Numbers) -> None:
        for row, mine in zip(into, values, strict=True):
            np.minimum.at(row, at, mine)


#: Numbers of builds.
COUNT = Counting()

#: Whether there is a build.
EXISTS = Existing()

#: Least sums of costs.
LEAST = LeastCosts()


def none_of(algebra: Algebra, *shape: int) -> Numbers:
    """Return an array of a shape in which nothing is allowed."""
    return np.full(shape, algebra.none, dtype=algebra.dtype)


def one_of(algebra: Algebra, *shape: int) -> Numbers:
    """Return an array of a shape in which all is allowed, once."""
    return np.full(shape, algebra.one, dtype=algebra.dtype)
