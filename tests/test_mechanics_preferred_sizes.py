"""Preferred numbers against the powers that ISO 3 rounds."""

from __future__ import annotations

import pytest

from fitgraph.mechanics.preferred_sizes import RENARD, renard


@pytest.mark.parametrize(("series", "terms"), [("R5", 5), ("R10", 10), ("R20", 20), ("R40", 40)])
def test_preferred_numbers_are_rounded_powers(series: str, terms: int) -> None:
    """Within +1.26 % and -1.01 % of the power of ten: the ends are those of 1.70 and 1.32."""
    numbers = RENARD[series]
    assert len(numbers) == terms
    off = {number: number / 10 ** (n / terms) - 1 for n, number in enumerate(numbers)}
    assert all(-0.01015 <= share <= 0.01265 for share in off.values())
    if series == "R40":
        assert (min(off, key=off.__getitem__), max(off, key=off.__getitem__)) == (1.32, 1.70)
    assert set(RENARD["R5"]) <= set(RENARD["R10"]) <= set(RENARD["R20"]) <= set(RENARD["R40"])


def test_sizes_between_two_ends() -> None:
    assert renard("R10", 20.0, 40.0) == [20.0, 25.0, 31.5, 40.0]
    assert renard("R5", 0.9, 11.0) == [1.0, 1.6, 2.5, 4.0, 6.3, 10.0]
    with pytest.raises(ValueError, match="above zero"):
        renard("R5", 0.0, 1.0)
