"""One meaning a name: no two public classes and no two modules share one."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

from tests.shared import nodes

PACKAGE = Path(__file__).resolve().parent.parent / "fitgraph"


def test_no_two_modules_share_a_name() -> None:
    rooms = defaultdict(list)
    for path in sorted(PACKAGE.rglob("*.py")):
        if path.name != "__init__.py":
            rooms[path.stem].append(path.relative_to(PACKAGE).parts[0])
    shared = {(name, *found) for name, found in rooms.items() if len(found) > 1}
    assert shared == set()


def test_no_two_public_classes_share_a_name() -> None:
    homes = defaultdict(list)
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in nodes(path):
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                homes[node.name].append(path.relative_to(PACKAGE).as_posix())
    shared = {name: found for name, found in homes.items() if len(found) > 1}
    assert shared == {}
