"""Limits, clearances, slots, clamps, tubes: pure functions over numbers and arrays."""
