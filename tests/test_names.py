"""One meaning a name: no two public classes and no two modules share one, unless it is told why."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

from tests.shared import nodes

PACKAGE = Path(__file__).resolve().parent.parent / "fitgraph"

#: Rooms whose modules may share a name, since they mean one thing by it.
PAIRS = {
    ("buckets", "explain", "graph"): "bucket elimination over options, and over joints' classes",
    ("cautions", "mechanics", "report"): "the cautions, and which of them go with an answer",
    ("families", "graph", "report"): "the families of the graph, and what is shown of them",
    ("gaps", "lab", "stock"): "the gaps, and their page",
    ("nests", "draw", "mechanics"): "nests of rings, and who sits in whom",
    ("scan", "adapters", "solve"): "the scan of designs, and the engine's scan that it asks",
    ("sums", "graph", "solve"): "the sums that joints ask, and how the engine carries them",
    ("supply", "catalogue", "model"): "the supply, and the reader of its tables",
    ("ways", "explain", "report"): "the ways, and what is shown of them",
}

#: Classes that may share a name, each with the reason.
CLASSES = {
    "Aim": "the aim of an exchange, and the option of the command that asks for it",
    "Chain": "a row of things in order: of held parts, and of running sums",
    "Column": "a column of their sheet, and a column of our table",
    "Drawing": "a sheet of lines; drawing by lot: no reader meets both",
    "Kind": "a kind of what people own; a kind of mark on the map of designs",
    "Least": "least costs: the semiring, and its bucket elimination",
    "Part": "something with a stock number; a step's operand inside the plan: no reader meets both",
    "Report": "what an import came to is shown as the one report",
    "Said": "what is said, by a joint and by a text",
    "Sheet": "their sheet, a part's sheet, a build's sheet: each is a sheet where it is",
    "Table": "a table that is read, and one that is written",
    "Tally": "where rows went; fillings of a core: no reader meets both",
    "Word": "a word of a part; a machine's word: no reader meets both",
}


def test_no_two_modules_share_a_name_without_a_reason() -> None:
    rooms = defaultdict(list)
    for path in sorted(PACKAGE.rglob("*.py")):
        if path.name != "__init__.py":
            rooms[path.stem].append(path.relative_to(PACKAGE).parts[0])
    shared = {(name, *found) for name, found in rooms.items() if len(found) > 1}
    assert shared == set(PAIRS)


def test_no_two_public_classes_share_a_name_without_a_reason() -> None:
    homes = defaultdict(list)
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in nodes(path):
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                homes[node.name].append(path.relative_to(PACKAGE).as_posix())
    shared = {name: found for name, found in homes.items() if len(found) > 1}
    assert set(shared) == set(CLASSES), shared
