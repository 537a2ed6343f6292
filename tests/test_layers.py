"""The package keeps its layers, and no word of a trade stands in its code.

A lower layer never imports a higher one, siblings of one layer do not import one another,
and everything that names a role, a feature, a joint, a service or a system of ``data``
stays in ``data``.
"""

from __future__ import annotations

import ast
import functools
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import networkx as nx
import pytest

import fitgraph
from fitgraph.catalogue import shipped_folder
from fitgraph.mechanics.rules import RULES
from tests.shared import nodes, parsed

PACKAGE = Path(fitgraph.__file__).parent

#: The layers, from the lowest up; those in one tuple are siblings. docs/architecture.md draws
#: them.
LAYERS = (
    ("errors", "units", "model", "files", "plain", "stopping", "records", "wording", "array_types"),
    ("mechanics",),
    ("catalogue",),
    ("intake",),
    ("graph",),
    ("solve",),
    ("demand",),
    ("explain", "stock", "adapters"),
    ("draw",),
    ("practice",),
    ("report",),
    ("shop",),
    ("lab", "cli"),
)
RANK = {name: rank for rank, names in enumerate(LAYERS) for name in names}

#: Within the lowest layer: what each may know. Everything else there knows nothing.
GROUND = {
    "units": {"errors", "records"},
    "model": {"units", "records"},
    "files": {"errors"},
    "plain": {"errors"},
}

#: What a layer may not know, though it lies below, and why.
STRANGERS = {
    "cli": (
        {"adapters", "demand", "explain", "graph", "mechanics", "model", "solve", "stock", "units"},
        "a command declares its options, asks the shop and has its answer written",
    ),
    "draw": ({"solve", "stock", "catalogue", "intake"}, "a drawing is of parts, not of questions"),
    "report": ({"files", "intake"}, "a report is data: nothing is read or written"),
    "demand": (
        {"catalogue", "intake", "units"},
        "enquiries are asked of a catalogue, not of files",
    ),
    "stock": ({"catalogue", "intake", "units"}, "gaps are found in a catalogue, not in files"),
    "solve": ({"catalogue", "intake", "units"}, "the engine formats nothing and reads nothing"),
    "graph": ({"catalogue", "intake", "units"}, "options are made of a catalogue, not of files"),
}

#: Widgets, servers and charts: only the lab may ask for them.
PAGES_ONLY = {"ipywidgets", "IPython", "plotly", "anywidget", "jupyterlab", "voila"}
#: Libraries for frames: nobody imports one by name; narwhals finds what is installed.
FRAMES = {"pandas", "polars"}

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
    "clip": ({"solve/residues.py"}, "how numpy treats a place that is too large"),
    "bolts": ({"report/explanations.py"}, "how many screws a grip was worked out for, in data"),
    "head": ({"draw/style.py", "lab/look.py"}, "a size of type"),
    "top": ({"units.py"}, "the numerator of a fraction"),
}


def modules() -> list[Path]:
    return sorted(p for p in PACKAGE.rglob("*.py") if "_shipped" not in p.parts)


def layer_of(path: Path) -> str:
    inside = path.relative_to(PACKAGE)
    return inside.parts[0] if len(inside.parts) > 1 else inside.stem


def imported(path: Path) -> Iterator[tuple[int, str]]:
    """Yield the line and the layer of every import of the package, wherever it stands."""
    for node in nodes(path):
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


def test_every_module_belongs_to_a_layer() -> None:
    found = {layer_of(p) for p in modules()} - {"__init__"} - STARTERS
    assert found <= set(RANK)
    assert {name for names in LAYERS for name in names} - {"intake", "practice"} <= found


def may_know(mine: str) -> set[str]:
    """Return the packages that one may import."""
    if mine == "__init__":
        return {"errors", "shop"}
    below = {name for name, rank in RANK.items() if rank < RANK[mine]}
    if RANK[mine] == 0:
        below = GROUND.get(mine, set())
    return (below | {mine}) - STRANGERS.get(mine, (set(), ""))[0]


@pytest.mark.parametrize(
    "path", modules(), ids=lambda p: p.relative_to(PACKAGE).with_suffix("").as_posix()
)
def test_imports_go_down_and_only_to_whom_one_may_know(path: Path) -> None:
    mine = layer_of(path)
    if mine in STARTERS:
        return
    allowed = may_know(mine)
    wrong = [
        f"{path.relative_to(PACKAGE)}, line {line}: {mine} imports {other}"
        for line, other in imported(path)
        if other not in allowed and other in RANK
    ]
    assert wrong == []


def module_name(path: Path) -> str:
    name = ".".join(("fitgraph", *path.relative_to(PACKAGE).with_suffix("").parts))
    return name.removesuffix(".__init__")


def run_time_imports(tree: ast.AST, known: set[str]) -> Iterator[str]:
    """Yield the modules of the package that a module loads, those for type checkers left out."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            continue
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("fitgraph"):
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                yield whole if whole in known else str(node.module)
        yield from run_time_imports(node, known)


def test_no_circle_of_modules() -> None:
    known = {module_name(path): path for path in modules()}
    graph = nx.DiGraph()
    for name, path in known.items():
        found = set(run_time_imports(parsed(path), set(known))) - {name}
        graph.add_edges_from((name, other) for other in found)
    circles = [c for c in nx.strongly_connected_components(graph) if len(c) > 1]
    assert graph.number_of_edges() > 500
    assert circles == []


def libraries(path: Path) -> set[str]:
    """Return the libraries that a module imports, wherever it does."""
    found = set()
    for node in nodes(path):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add((node.module or "").split(".")[0])
    return found


def test_only_the_lab_asks_for_what_pages_need() -> None:
    strangers = {
        str(path.relative_to(PACKAGE)): wrong
        for path in modules()
        if (wrong := libraries(path) & (PAGES_ONLY | FRAMES))
        and (layer_of(path) != "lab" or wrong & FRAMES)
    }
    assert strangers == {}


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


def strings(path: Path) -> Iterator[tuple[int, str]]:
    """Yield every string literal that is not a docstring or another lone expression."""
    lone = {
        id(node.value)
        for node in nodes(path)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in nodes(path):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in lone:
            yield node.lineno, node.value


@functools.cache
def found_in_code() -> dict[str, list[str]]:
    words = {w.casefold() for w in trade_words()}
    found: dict[str, list[str]] = {}
    for path in modules():
        for line, text in strings(path):
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


#: Figures published for scooters are told as such.
PUBLISHED_FOR_SCOOTERS = {"mechanics/published.py", "mechanics/standards.py"}


def test_no_sentence_of_the_code_is_about_scooters_and_those_who_ride() -> None:
    """Who asks is named by the vocabulary; what is asked for, by its roles."""
    of_one_trade = re.compile(r"\b(?:riders?|scooters?)\b", re.IGNORECASE)
    found = [
        f"{path.relative_to(PACKAGE)}:{line}: {text[:60]}"
        for path in modules()
        if str(path.relative_to(PACKAGE)) not in PUBLISHED_FOR_SCOOTERS
        for line, text in strings(path)
        if of_one_trade.search(text) and " " in text
    ]
    assert found == []


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
        for line, text in strings(path)
        if pattern.search(text)
    ]
    assert strangers == []
