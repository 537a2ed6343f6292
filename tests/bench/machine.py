"""What the figures were measured on."""

from __future__ import annotations

import os
import platform
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

#: The peers, as they are called in the table and as they are installed.
PEERS = {
    "python-constraint": "python-constraint2",
    "clingo": "clingo",
    "OR-Tools CP-SAT": "ortools",
    "DuckDB": "duckdb",
    "PySDD": "PySDD",
    "dd": "dd",
    "Ganak": "pyganak",
    "numpy": "numpy",
    "scipy": "scipy",
    "networkx": "networkx",
}


def _field(path: str, name: str) -> str:
    file = Path(path)
    if not file.exists():
        return ""
    for line in file.read_text(encoding="utf-8").splitlines():
        key, _, value = line.partition(":")
        if key.strip() == name:
            return value.strip()
    return ""


def cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _versions() -> str:
    """Return the peers that are installed, with their versions."""
    found = []
    for name, package in PEERS.items():
        try:
            found.append(f"{name} {version(package)}")
        except PackageNotFoundError:
            continue
    return ", ".join(found)


def machine() -> str:
    """Return processor, cores, memory, Python and versions in a sentence or two."""
    processor = _field("/proc/cpuinfo", "model name") or platform.processor() or "unknown processor"
    memory = _field("/proc/meminfo", "MemTotal").removesuffix(" kB")
    size = f", {int(memory) / 2**20:.0f} GB of memory" if memory else ""
    return (
        f"{processor}, {cores()} cores{size}, {platform.system()}, "
        f"Python {platform.python_version()}. {_versions()}."
    )
