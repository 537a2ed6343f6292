"""The JSON Schema of vocabulary files: what it refuses the reader refuses, and the other way.

The library is jsonschema's validator for draft-07; the vocabularies are the shipped ones, whole,
and with one entry spoilt by lot.
"""

from __future__ import annotations

import copy
import json
import random
import tomllib
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from fitgraph.catalogue import CatalogueError, demo_folder, shipped_folder
from fitgraph.catalogue.vocabulary_file import read_document, read_vocabulary
from fitgraph.catalogue.vocabulary_shape import TABLES, TOP, entries_of, vocabulary_schema
from fitgraph.mechanics.rules import RULES
from tests.schema import FILE, schema_text
from tests.test_bad_input import ODD_VALUES, VOCABULARY
from tests.turns import turns

FILES = sorted(shipped_folder("data").glob("*/vocabulary.toml"))

#: Faults of shape: which entries a table has, and which kind of value stands there. All others
#: are about what the values mean in this file.
OF_SHAPE = (
    "is no known entry",
    "is no table",
    "is no list of tables",
    "is no list",
    "is no text",
    "is neither true nor false",
    "is no known rule",
    "is not understood",
    "is no number that can be used",
    "is no ISO 898-1 property class",
    "is no torque of a known coarse thread",
    "is no class of ISO 2768-1",
    "is no currency's code",
    "is no material of the table",
    "is no material and no family",
    "is no row of sizes",
    "has neither least nor most",
    "adds and takes",
    "is no moment",
    "names no role",
    "names fewer than two rings",
    "names no length",
    "names no free dimension",
    "names no way of riding",
)


@lru_cache(maxsize=1)
def validator() -> jsonschema.Draft7Validator:
    jsonschema.Draft7Validator.check_schema(vocabulary_schema())
    return jsonschema.Draft7Validator(vocabulary_schema())


def document(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def faults(vocabulary: dict[str, Any]) -> list[str]:
    """Return what the reader finds wrong."""
    try:
        read_document(vocabulary)
    except CatalogueError as error:
        return [finding.message for finding in error.findings]
    return []


def of_shape(message: str) -> bool:
    return message in OF_SHAPE or message.startswith("lacks ")


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.parent.name)
def test_shipped_vocabularies_keep_to_the_schema(path: Path) -> None:
    assert [e.message for e in validator().iter_errors(document(path))] == []
    assert read_vocabulary(path).roles


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.parent.name)
def test_shipped_vocabularies_say_where_their_schema_is(path: Path) -> None:
    first = path.read_text(encoding="utf-8").splitlines()[0]
    assert first == f"#:schema ../{FILE}"
    assert (path.parent / f"../{FILE}").resolve().is_file()


def test_the_shipped_schema_is_the_one_that_the_reader_goes_by() -> None:
    """``python -m tests.schema`` writes it."""
    assert (shipped_folder("data") / FILE).read_text(encoding="utf-8") == schema_text()
    assert json.loads(schema_text()) == vocabulary_schema()


def test_every_rule_and_every_table_stands_in_the_schema() -> None:
    ways = vocabulary_schema()["definitions"]["joint"]["allOf"]
    named = {way["if"]["properties"]["rule"]["const"] for way in ways}
    assert named == {rule.name for rule in RULES.values() if not rule.own}
    used = set(json.dumps(vocabulary_schema()).split('"#/definitions/'))
    used = {piece.split('"')[0] for piece in used}
    assert set(TABLES) <= used
    assert entries_of("") == tuple(TOP)


@pytest.mark.parametrize(("where", "old", "new"), ODD_VALUES)
def test_odd_values_are_refused_for_their_shape_by_both(where: str, old: bytes, new: bytes) -> None:
    spoilt_text = VOCABULARY.replace(old, new, 1).decode()
    vocabulary = tomllib.loads(spoilt_text)
    shape = any(map(of_shape, faults(vocabulary)))
    assert shape != validator().is_valid(vocabulary), where


def places(node: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the path of every entry."""
    named = node.items() if isinstance(node, dict) else enumerate(node)
    for name, entry in named:
        yield (*path, name)
        if isinstance(entry, dict | list):
            yield from places(entry, (*path, name))


def spoilt(seed: int, whole: dict[str, Any]) -> tuple[dict[str, Any], str]:
    """Return a vocabulary with one entry spoilt, and what was done to it."""
    lot = random.Random(seed)
    every = list(places(whole))
    # As many of one kind of table as of another, however many there are of them.
    top = lot.choice(sorted({p[0] for p in every}))
    path = lot.choice([p for p in every if p[0] == top])
    made = copy.deepcopy(whole)
    at: Any = made
    for name in path[:-1]:
        at = at[name]
    what = lot.choice(("wrong", "wrong", "gone", "added", "renamed"))
    if what == "gone":
        del at[path[-1]]
    elif what == "wrong" or not isinstance(at, dict):
        other = (5, -5, "no such thing", True, [], {}, [1], {"a": 1}, 2.5, [[]])
        at[path[-1]] = lot.choice([o for o in other if type(o) is not type(at[path[-1]])])
        what += f" {at[path[-1]]!r}"
    elif what == "added":
        at["no_such_entry"] = lot.choice(("x", 5, True, {}))
    else:
        at["no_such_entry"] = at.pop(path[-1])
    return made, f"{what} at {path}"


def test_what_the_reader_refuses_for_its_shape_the_schema_refuses_and_the_other_way() -> None:
    """One way and back: an editor never lets pass what is refused, nor marks what is read."""
    whole = document(demo_folder() / "vocabulary.toml")
    tries, refused = turns(1200, 60), 0
    differ = []
    for seed in range(tries):
        made, how = spoilt(seed, whole)
        told = faults(made)
        valid = validator().is_valid(made)
        shape = bool(told) and all(map(of_shape, told))  # nothing else would be found either
        refused += shape
        if (shape and valid) or (not told and not valid):
            errors = [e.message[:80] for e in validator().iter_errors(made)]
            differ.append((how, told[:2], errors[:2]))
    assert differ == []
    assert refused > tries / 3


@pytest.mark.parametrize("empty", [[], {}, False])
def test_what_is_empty_and_of_another_kind_is_refused_by_both(empty: object) -> None:
    """The reader took an empty list of what is plausible for none."""
    made = document(shipped_folder("data") / "hoses" / "vocabulary.toml")
    made["roles"]["bush"]["features"]["overall"]["dimensions"]["length"]["plausible"] = empty
    assert faults(made) and not validator().is_valid(made)


@pytest.mark.parametrize("file", FILES, ids=lambda path: path.parent.name)
def test_a_vocabulary_keeps_the_name_of_its_trade(file: Path) -> None:
    document = tomllib.loads(file.read_text(encoding="utf-8"))
    assert read_vocabulary(file).trade == document.get("trade", {}).get("name", "")
