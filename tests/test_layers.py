"""The package keeps its layers, and no word of a trade stands in its code.

A lower layer never imports a higher one, siblings of one layer do not import one another,
and everything that names a role, a feature, a joint, a service or a system of ``data``
stays in ``data``.
"""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

import fitgraph
from fitgraph.catalogue import shipped_folder
from fitgraph.mechanics.rules import RULES

PACKAGE = Path(fitgraph.__file__).parent

#: From the lowest up; those in one tuple are siblings.
LAYERS = (
    ("model", "units", "files", "plain"),
    ("mechanics",),
    ("catalogue",),
    ("intake",),
    ("graph",),
    ("solve",),
    ("explain", "stock", "adapters"),
    ("draw",),
    ("lab", "cli"),
)
RANK = {name: rank for rank, names in enumerate(LAYERS) for name in names}
#: Modules that only start the package; they may import whatever they start.
STARTERS = {"__main__"}

#: The systems of the demo trade; a build is of a system by its parts, never by a name.
SYSTEMS = {"IHC", "HIC", "SCS", "ICS"}

#: Words that a vocabulary uses as well, and why the code may hold them anywhere: a bore or a
#: slot is a term of mechanics before it is anybody's feature.
GENERAL_WORDS = {
    **{
        word: "argument of a rule, which a vocabulary spells in its joints"
        for rule in RULES.values()
        for word in (*rule.lengths, *rule.words)
    },
    "length": "kind of feature and kind of quantity",
    "thread": "entry of a vocabulary's [hold] table and column of the screw table",
    "outside": "entry of a vocabulary's [strength], [weigh] and [hold] tables",
    "height": "entry of a vocabulary's [hold] table",
}

#: Words that mean something else where they stand, and the only modules they may stand in.
COINCIDENCES = {
    "bearings": ({"mechanics/standards.py"}, "the table of ISO 15 bearing sizes"),
    "bolts": ({"cli/why.py"}, "how many screws a grip was worked out for, in an answer"),
    "head": ({"draw/style.py", "lab/look.py"}, "a size of type"),
    "top": ({"units.py"}, "the numerator of a fraction"),
}


def modules() -> list[Path]:
    return sorted(p for p in PACKAGE.rglob("*.py") if "_shipped" not in p.parts)


def layer_of(path: Path) -> str:
    inside = path.relative_to(PACKAGE)
    return inside.parts[0] if len(inside.parts) > 1 else inside.stem


def imported(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Yield the line and the layer of every import of the package, wherever it stands."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: relative import"
            module = node.module or ""
            names = (
                [f"fitgraph.{alias.name}" for alias in node.names]
                if module == "fitgraph"
                else [module]
            )
        else:
            continue
        for name in names:
            pieces = name.split(".")
            if pieces[0] == "fitgraph" and len(pieces) > 1:
                yield node.lineno, pieces[1]


def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def test_every_module_belongs_to_a_layer() -> None:
    found = {layer_of(p) for p in modules()} - {"__init__"} - STARTERS
    assert found <= set(RANK)
    assert {"model", "units", "mechanics", "catalogue", "graph", "solve", "explain"} <= found


@pytest.mark.parametrize(
    "path", modules(), ids=lambda p: p.relative_to(PACKAGE).with_suffix("").as_posix()
)
def test_imports_go_down(path: Path) -> None:
    mine = layer_of(path)
    if mine in STARTERS:
        return
    allowed = (
        set()
        if mine == "__init__"
        else {name for name, rank in RANK.items() if rank < RANK[mine]} | {mine}
    )
    wrong = [
        f"{path.relative_to(PACKAGE)}, line {line}: {mine} imports {other}"
        for line, other in imported(parsed(path))
        if other not in allowed and other in RANK
    ]
    assert wrong == []


def trade_words() -> set[str]:
    """Return the names of all roles, features, joints, services and systems in ``data``."""
    words: set[str] = set()
    for file in shipped_folder("data").glob("*/vocabulary.toml"):
        document = tomllib.loads(file.read_text(encoding="utf-8"))
        for role, entry in document["roles"].items():
            words |= {role, entry.get("title", role), *entry.get("features", {})}
        words |= {joint["id"] for joint in document["joints"]}
        words |= set(document.get("services", {}))
    return words | SYSTEMS


def strings(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Yield every string literal that is not a docstring or another lone expression."""
    lone = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in lone:
            yield node.lineno, node.value


def found_in_code() -> dict[str, list[str]]:
    words = {w.casefold() for w in trade_words()}
    found: dict[str, list[str]] = {}
    for path in modules():
        for line, text in strings(parsed(path)):
            if text.casefold() in words:
                found.setdefault(text.casefold(), []).append(f"{path.relative_to(PACKAGE)}:{line}")
    return found


def test_no_word_of_a_trade_is_a_string_in_the_code() -> None:
    strangers = {
        word: at
        for word, at in found_in_code().items()
        if word not in GENERAL_WORDS
        and not {a.split(":")[0] for a in at} <= COINCIDENCES.get(word, (set(), ""))[0]
    }
    assert strangers == {}


def test_exceptions_are_still_needed() -> None:
    assert set(COINCIDENCES) | {"thread", "outside", "height", "length"} <= set(found_in_code())


def test_no_feature_is_addressed_and_no_system_named_in_the_code() -> None:
    """Neither ``role.feature`` nor one of the four systems stands in any string."""
    addresses = set()
    for file in shipped_folder("data").glob("*/vocabulary.toml"):
        for role, entry in tomllib.loads(file.read_text(encoding="utf-8"))["roles"].items():
            addresses |= {f"{role}.{feature}" for feature in entry.get("features", {})}
    pattern = re.compile(
        r"\b(?:" + "|".join(map(re.escape, sorted(addresses | SYSTEMS, key=len)[::-1])) + r")\b"
    )
    strangers = [
        f"{path.relative_to(PACKAGE)}:{line}: {text!r}"
        for path in modules()
        for line, text in strings(parsed(path))
        if pattern.search(text)
    ]
    assert strangers == []
