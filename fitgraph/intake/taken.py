"""One part as it was understood, and what other lists tell of it."""

from __future__ import annotations

from dataclasses import field

from fitgraph.records import dataclass

#: How the note begins beside a figure that was read from words.
FROM_WORDS = "read from: "


@dataclass(slots=True)
class Taken:
    """One part as it was understood."""

    sku: str
    role: str
    row: int
    source: str
    name: str = ""
    maker: str = ""
    price: int | None = None
    mass_g: float | None = None
    material: str = ""
    note: str = ""
    stock: int | None = None
    figures: dict[str, tuple[str, str, str]] = field(default_factory=dict)

    def add(self, more: Taken) -> list[str]:
        """Take what another list tells of the part; return the names of what differs.

        What is known stays. A size in a column goes before one that was read from words.
        """
        differs = []
        for name in ("maker", "price", "mass_g", "material", "note", "stock"):
            mine, theirs = getattr(self, name), getattr(more, name)
            if mine in (None, ""):
                setattr(self, name, theirs)
            elif theirs not in (None, "", mine) and name != "note":
                differs.append(name.removesuffix("_g"))
        for path, figure in more.figures.items():
            known = self.figures.get(path)
            if known is None or (
                known[2].startswith(FROM_WORDS) > figure[2].startswith(FROM_WORDS)
            ):
                self.figures[path] = figure
            elif known[0] != figure[0] and not figure[2].startswith(FROM_WORDS):
                differs.append(path)
        return differs
