"""Exact numbers as remainders, and the like of them: whether there is any, and a bound.

One word is the remainder modulo 2**64, which numpy's unsigned arithmetic keeps without a
division: sums, products and differences of running sums are exact modulo 2**64 whatever overflows
on the way. Where a number may be larger, further words are its remainders modulo primes below
2**31, put together with the first by mixed radices [1].

References
----------
.. [1] D. E. Knuth, *The Art of Computer Programming*, vol. 2, section 4.3.2: modular
   arithmetic (reference checked: the section's title in lists of the book's contents).
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Ints
from fitgraph.solve.support import Pieces

Objects = npt.NDArray[np.object_]
Words = npt.NDArray[Any]

#: Bits of the first word.
_BITS = 64


class MachineWord:
    """Remainders modulo 2**64, or modulo a prime.

    Parameters
    ----------
    prime : int
        Below 2**31, so that a product of two remainders and a sum of 2**32 of them stay below
        2**64; zero for 2**64.
    """

    dtype: Any = np.uint64
    #: Of running sums; their differences are exact below 2**64.
    sums: Any = np.uint64
    #: Of weights as they are given.
    given: Any = np.uint64

    def __init__(self, prime: int = 0) -> None:
        self.prime = np.uint64(prime)

    def rest(self, values: Words) -> Words:
        """Return remainders of numbers below 2**64."""
        if not self.prime:
            return values
        # numpy divides by one number in vectors, and takes remainders one by one.
        whole = np.asarray(values // self.prime)
        whole *= self.prime
        return np.subtract(values, whole, out=whole)

    def both(self, a: Words, b: Words) -> Words:
        """Return products."""
        return self.rest(a * b)

    def gather(self, into: Words, at: Ints, values: Words) -> None:
        """Add values to places; the remainders are left to :meth:`rest`."""
        np.add.at(into, at, values)

    def added(self, values: Words, starts: Ints) -> Words:
        """Return the sums of pieces of rows."""
        return np.asarray(np.add.reduceat(values, starts))

    def of_runs(self, pieces: Pieces, sums: Words) -> Words:
        """Return what runs of pieces come to, as differences of running sums."""
        running = np.append(np.zeros(1, dtype=self.sums), np.cumsum(sums, dtype=self.sums))
        return np.asarray(running[pieces.high] - running[pieces.low])

    def across(self, matrix: Words, values: Words) -> Words:
        """Return a matrix times a vector, of remainders modulo 2**64."""
        return np.asarray(matrix @ values)


class Some(MachineWord):
    """Whether there is any: "or" over alternatives, "and" over the parts of one build."""

    dtype = np.bool_
    sums = np.int32  # no step has so many rows

    def rest(self, values: Words) -> Words:
        """Return whether numbers are above zero."""
        return values > 0

    def both(self, a: Words, b: Words) -> Words:
        """Return whether both are."""
        return a & b

    def added(self, values: Words, starts: Ints) -> Words:
        """Return whether pieces of rows have any."""
        return np.asarray(np.logical_or.reduceat(values, starts))

    def gather(self, into: Words, at: Ints, values: Words) -> None:
        """Mark places."""
        np.maximum.at(into.view(np.uint8), at, values.view(np.uint8))

    def across(self, matrix: Words, values: Words) -> Words:
        """Return where a row of a matrix has any of the marked columns."""
        return np.asarray((matrix & values).any(axis=1))


class AtMost(MachineWord):
    """Numbers that are at least the true ones, but for the rounding of single operations."""

    dtype = np.float64
    sums: Any = np.float64

    def rest(self, values: Words) -> Words:
        """Return the numbers as they are."""
        return values.astype(np.float64, copy=False)

    def of_runs(self, pieces: Pieces, sums: Words) -> Words:
        """Return what runs come to, with all that running sums may have lost to rounding."""
        running = np.append(0.0, np.cumsum(sums))
        last, added = running[pieces.high], int(pieces.cuts[-1]) + len(running)
        return np.asarray(last - running[pieces.low] + last * (added * np.finfo(float).eps))


class Rough(MachineWord):
    """Numbers of any weights, about: running sums are kept with more digits than what they tell."""

    dtype = np.float64
    sums = np.longdouble
    given = np.float64

    def rest(self, values: Words) -> Words:
        """Return numbers without what rounding took below zero."""
        return np.maximum(values, 0.0).astype(np.float64, copy=False)


#: Whether there is a build at all.
SOME = Some()


def taken(values: Words, at: Ints) -> Words:
    """Return values at places, all of them inside: so they need not be looked at before."""
    return values.take(at, mode="clip")


def is_few(some: int, of: int) -> bool:
    """Return whether so many of all are worth being taken out."""
    return 3 * some <= of


def few(values: Words) -> Ints | None:
    """Return where values are not zero, if they are few; None where that is not worth it."""
    return np.flatnonzero(values) if is_few(int(np.count_nonzero(values)), len(values)) else None


@functools.cache
def words_of(bits: int) -> tuple[MachineWord, ...]:
    """Return words that tell numbers of so many bits apart."""
    found = [MachineWord()]
    modulus, number = 1 << _BITS, 1 << 31
    while modulus < 1 << bits:
        number -= 1
        if all(number % d for d in range(2, math.isqrt(number) + 1)):
            found.append(MachineWord(number))
            modulus *= number
    return tuple(found)


def joined(rests: Sequence[Words], words: Sequence[MachineWord]) -> Objects:
    """Return the numbers, below the product of all moduli, with the given remainders.

    Parameters
    ----------
    rests : sequence of ndarray of uint64
        A word each.
    words : sequence of MachineWord
        The first modulo 2**64.
    """
    found = np.asarray(rests[0].astype(object), dtype=object)
    modulus = 1 << _BITS
    for rest, word in zip(rests[1:], words[1:], strict=True):
        prime = int(word.prime)
        digit = (rest.astype(object) - found) * pow(modulus, -1, prime) % prime
        found = found + digit * modulus
        modulus *= prime
    return np.asarray(found, dtype=object)


def all_but_one(values: Words, factors: Sequence[Words], word: MachineWord) -> Iterator[Words]:
    """Yield products of values and all factors but one, for each of these in turn.

    From both ends, so that nothing is divided.
    """
    after: list[Words | None] = [None]
    for factor in factors[:0:-1]:
        after.append(factor if after[-1] is None else word.both(after[-1], factor))
    for factor in factors:
        rest = after.pop()
        yield values if rest is None else word.both(values, rest)
        if after:
            values = word.both(values, factor)
