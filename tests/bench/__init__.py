"""Benchmarks: run by hand, never as tests."""
