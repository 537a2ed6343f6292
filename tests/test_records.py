"""The package's dataclasses do what the standard decorator's do; only later.

The standard library's own decorator is the measure: the same class is made with both.
"""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle
import re
from dataclasses import field
from pathlib import Path
from typing import Any, Generic, TypeVar

import pytest

from fitgraph import records

T = TypeVar("T")


def classes(decorator: Any) -> dict[str, type]:
    """Return classes of every shape that the package has, made with a decorator."""

    @decorator(frozen=True, slots=True)
    class Point:
        """A point."""

        x: float
        y: float = 0.0
        names: tuple[str, ...] = ()
        seen: dict[str, int] = field(default_factory=dict, repr=False, compare=False)

        def moved(self) -> Point:
            return dataclasses.replace(self, x=self.x + 1)

    @decorator(frozen=True, slots=True)
    class One:
        value: object

    @decorator(frozen=True, slots=True)
    class Nothing:
        pass

    @decorator(frozen=True, slots=True, eq=False)
    class Itself:
        x: int
        y: int = 1

    @decorator(frozen=True, slots=True, eq=False, weakref_slot=True)
    class Held:
        x: int
        y: int = 1

    @decorator(frozen=True)
    class Open:
        x: int
        y: list[int] = field(default_factory=list)

    @decorator(slots=True)
    class Loose:
        x: int
        y: list[int] = field(default_factory=list)
        later: dict[str, int] = field(default_factory=dict, init=False, repr=False)

    @decorator
    class Plain:
        x: int
        y: int = 2

        def __post_init__(self) -> None:
            self.y += self.x

    @decorator(frozen=True, slots=True)
    class Own:
        x: int
        y: int = 0

        def __repr__(self) -> str:
            return "own"

        def __eq__(self, other: object) -> bool:
            return isinstance(other, Own) and self.x == other.x

        def __hash__(self) -> int:
            return self.x

    @decorator(frozen=True, slots=True)
    class Half:
        x: int
        y: int = 0

        def __eq__(self, other: object) -> bool:
            return isinstance(other, Half) and self.x == other.x

    @decorator(frozen=True, slots=True)
    class Made(Generic[T]):
        x: T
        y: int = 0

    @decorator(frozen=True, eq=False, repr=False)
    class Answer:
        x: int

    @decorator(frozen=True, eq=False, repr=False)
    class More(Answer):
        y: int = 3

    found = [Point, One, Nothing, Itself, Held, Open, Loose, Plain, Own, Half, Made, Answer, More]
    return {each.__name__: each for each in found}


OURS, STANDARD = classes(records.dataclass), classes(dataclasses.dataclass)
GIVEN: list[tuple[tuple[Any, ...], dict[str, Any]]] = [
    ((), {}),
    ((1,), {}),
    ((2,), {}),
    ((1, 2), {}),
    ((1.0,), {"y": 2}),
    ((), {"x": 1}),
    ((), {"y": 1}),
    ((1, 2, 3, 4, 5), {}),
    (([],), {}),
    ((1,), {"z": 1}),
]


def outcome(what: Any, *args: Any, **named: Any) -> tuple[str, Any]:
    """Return what a call returns, or the error that it ends with."""
    try:
        return "made", what(*args, **named)
    except Exception as error:
        return type(error).__name__, str(error).replace("classes.<locals>.", "")


@pytest.mark.parametrize("name", sorted(STANDARD))
def test_a_class_is_what_the_standard_decorator_makes(name: str) -> None:
    ours, theirs = OURS[name], STANDARD[name]
    assert str(inspect.signature(ours)) == str(inspect.signature(theirs))
    assert ours.__qualname__ == theirs.__qualname__
    assert ours.__match_args__ == theirs.__match_args__  # type: ignore[attr-defined]
    assert getattr(ours, "__slots__", None) == getattr(theirs, "__slots__", None)
    assert (ours.__hash__ is None) == (theirs.__hash__ is None)

    def told(of: type) -> list[str]:
        return [repr(f) for f in dataclasses.fields(of)]

    assert told(ours) == told(theirs)


@pytest.mark.parametrize("name", sorted(STANDARD))
def test_objects_are_what_the_standard_decorator_makes(name: str) -> None:
    ours, theirs = OURS[name], STANDARD[name]
    pairs = []
    for args, named in GIVEN:
        mine, other = outcome(ours, *args, **named), outcome(theirs, *args, **named)
        assert mine[0] == other[0]
        if mine[0] != "made":
            assert mine == other
            continue
        pairs.append((mine[1], other[1]))
    assert pairs or name == "Nothing"
    for one, other in pairs:
        if type(one).__repr__ is not object.__repr__:
            assert repr(one) == repr(other)
        for f in dataclasses.fields(one):
            assert getattr(one, f.name) == getattr(other, f.name)
            changed, as_theirs = (outcome(setattr, of, f.name, 7) for of in (one, other))
            assert changed == as_theirs
            removed, as_theirs = (outcome(delattr, copy.copy(of), f.name) for of in (one, other))
            assert removed == as_theirs
        # Python 3.11 gives a TypeError of its own where a frozen class has slots.
        told = [outcome(setattr, of, "w", 1)[0] for of in (one, other)]
        assert (told[0] == "made") == (told[1] == "made")
        assert outcome(hash, one)[0] == outcome(hash, other)[0]
        if outcome(hash, one)[0] == "made" and type(one).__hash__ is not object.__hash__:
            assert hash(one) == hash(other)
    for one, like in pairs:
        for other, as_theirs in pairs:
            assert (one == other) == (like == as_theirs)
        assert one != like


def test_fields_are_replaced_and_defaults_are_not_shared() -> None:
    point = OURS["Point"](1)
    assert point.moved() == OURS["Point"](2) != point
    assert OURS["Loose"](1).y is not OURS["Loose"](1).y
    assert OURS["Loose"](1).later == {}


@records.dataclass(frozen=True, slots=True)
class Travels:
    x: int
    names: tuple[str, ...] = ()
    seen: dict[str, int] = field(default_factory=dict, compare=False)


def test_a_frozen_object_travels() -> None:
    one = Travels(1, ("a",), {"b": 1})
    for copied in (pickle.loads(pickle.dumps(one)), copy.deepcopy(one)):
        assert copied == one
        assert copied.seen == {"b": 1}


def test_methods_are_written_only_when_called() -> None:
    One = classes(records.dataclass)["One"]
    assert type(vars(One)["__init__"]).__name__ == "_Init"
    One(1)
    assert inspect.isfunction(vars(One)["__init__"])


def test_the_package_makes_its_dataclasses_so() -> None:
    files = sorted(Path(records.__file__).parent.rglob("*.py"))
    assert len(files) > 300
    made = [f.name for f in files if "import dataclass\n" in f.read_text(encoding="utf-8")]
    standard = re.compile(r"from dataclasses import [^\n]*\bdataclass\b|dataclasses\.dataclass\(")
    found = {f.name for f in files if standard.search(f.read_text(encoding="utf-8"))}
    assert made and found == {"records.py"}
