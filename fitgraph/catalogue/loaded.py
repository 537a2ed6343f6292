"""A catalogue folder: which files it has, and what they were read as."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

from fitgraph.catalogue.findings import Finding, RowTally
from fitgraph.model import Catalogue, Supply
from fitgraph.records import dataclass

VOCABULARY = "vocabulary.toml"
PARTS, FEATURES, STOCK, ENQUIRIES = "parts.csv", "features.csv", "stock.csv", "enquiries.csv"
SUPPLY, SUPPLIERS, COUNTS = "supply.csv", "suppliers.csv", "stock_counts.csv"

#: All that a reading depends on.
FILES = (VOCABULARY, PARTS, FEATURES, STOCK, ENQUIRIES, SUPPLY, SUPPLIERS, COUNTS)


@dataclass(frozen=True, slots=True)
class Loaded:
    """A catalogue, what was found wrong in its folder, and what can be ordered.

    ``tallies`` say of each table where its rows went: read = loaded + set aside. ``word`` names
    the entry that is kept of it (:mod:`fitgraph.catalogue.cache`), and is empty without one.
    """

    catalogue: Catalogue
    findings: tuple[Finding, ...]
    supply: Supply = field(default_factory=Supply)
    tallies: Mapping[str, RowTally] = field(default_factory=dict)
    word: str = field(default="", compare=False)
