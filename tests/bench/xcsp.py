"""Instances in XCSP3 whose constraints are tables, read as roles and tables.

Read are integer variables and arrays of them, `extension` with `supports` or `conflicts` (also
with `*`, and with a list of values for a single variable), `group`, `block` and `allDifferent`
over a list; anything else is refused by name. The format is that of F. Boussemart, C. Lecoutre,
G. Audemard, C. Piette, "XCSP3: an integrated format for benchmarking combinatorial constrained
problems", arXiv:1611.03398 (reference checked).
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from xml.etree import ElementTree

import numpy as np

from tests.bench.cores import Table

#: Cells up to which a table is made.
_CELLS = 1 << 26

_RANGE = re.compile(r"(-?\d+)\.\.(-?\d+)")

Domains = dict[str, list[int]]


def read_xcsp3(text: str) -> tuple[dict[str, int], list[Table]]:
    """Return the sizes of roles, one a variable, and tables.

    Raises
    ------
    ValueError
        If a constraint or a variable is of a kind that is not read.
    """
    root = ElementTree.fromstring(text)
    if root.get("type", "CSP") != "CSP":
        raise ValueError(f"only CSP is read, not {root.get('type')}")
    domains, arrays = _variables(root)
    constraints = root.find("constraints")
    tables = [] if constraints is None else list(_inside(constraints, domains, arrays))
    return {name: len(values) for name, values in domains.items()}, tables


def _values(text: str) -> list[int]:
    found: list[int] = []
    for word in text.split():
        ends = _RANGE.fullmatch(word)
        found += range(int(ends[1]), int(ends[2]) + 1) if ends else [int(word)]
    return sorted(set(found))


def _variables(root: ElementTree.Element) -> tuple[Domains, dict[str, list[str]]]:
    domains: Domains = {}
    arrays: dict[str, list[str]] = {}
    for element in root.find("variables") or ():
        name = element.get("id", "")
        if element.get("type", "integer") != "integer" or len(element):
            raise ValueError(f"variables of {name!r} are not read: they are not all integers")
        alike = element.get("as")
        if element.tag == "var":
            domains[name] = domains[alike] if alike else _values(element.text or "")
        elif element.tag == "array":
            sizes = [int(n) for n in re.findall(r"\[(\d+)\]", element.get("size", ""))]
            values = domains[arrays[alike][0]] if alike else _values(element.text or "")
            arrays[name] = [
                name + "".join(f"[{k}]" for k in place)
                for place in itertools.product(*(range(n) for n in sizes))
            ]
            domains |= dict.fromkeys(arrays[name], values)
        else:
            raise ValueError(f"<{element.tag}> is no kind of variable that is read")
    return domains, arrays


def _names(text: str, arrays: Mapping[str, Sequence[str]], domains: Domains) -> list[str]:
    """Return the variables that a list names; of an array all, or those in a range of places."""
    found: list[str] = []
    for word in text.split():
        if word in domains:
            found.append(word)
            continue
        name = word.split("[")[0]
        if name not in arrays:
            raise ValueError(f"there is no variable {word!r}")
        places = re.findall(r"\[([^\]]*)\]", word)
        for variable in arrays[name]:
            own = [int(k) for k in re.findall(r"\[(\d+)\]", variable[len(name) :])]
            if all(_at(k, asked) for k, asked in zip(own, places, strict=False)):
                found.append(variable)
    return found


def _at(place: int, asked: str) -> bool:
    ends = _RANGE.fullmatch(asked)
    if ends:
        return int(ends[1]) <= place <= int(ends[2])
    return not asked or place == int(asked)


def _inside(
    element: ElementTree.Element, domains: Domains, arrays: Mapping[str, Sequence[str]]
) -> Iterator[Table]:
    for constraint in element:
        if constraint.tag == "block":
            yield from _inside(constraint, domains, arrays)
        elif constraint.tag == "group":
            for args in constraint.findall("args"):
                given = _names(args.text or "", arrays, domains)
                yield from _one(constraint[0], domains, arrays, given)
        else:
            yield from _one(constraint, domains, arrays, ())


def _one(
    constraint: ElementTree.Element,
    domains: Domains,
    arrays: Mapping[str, Sequence[str]],
    given: Sequence[str],
) -> Iterator[Table]:
    if constraint.tag not in ("extension", "allDifferent"):
        raise ValueError(f"<{constraint.tag}> is no kind of constraint that is read")
    text = constraint.findtext("list") or (constraint.text or "" if not len(constraint) else "")
    words = []
    for word in text.split():
        if word == "%...":
            words += given
        else:
            words.append(given[int(word[1:])] if word.startswith("%") else word)
    scope = _names(" ".join(words), arrays, domains)
    if constraint.tag == "allDifferent":
        if len(constraint) > 1:
            raise ValueError(f"<allDifferent> over {' '.join(scope)} has more than a list")
        for a, b in itertools.combinations(scope, 2):
            yield Table((a, b), np.not_equal.outer(domains[a], domains[b]))
        return
    supports, conflicts = constraint.find("supports"), constraint.find("conflicts")
    listed = supports if supports is not None else conflicts
    if listed is None or len(set(scope)) < len(scope):
        raise ValueError(f"<extension> over {' '.join(scope)} has no table of different variables")
    shape = [len(domains[v]) for v in scope]
    if math.prod(shape) > _CELLS:
        raise ValueError(f"<extension> over {' '.join(scope)} has too many cells")
    allowed = np.full(shape, supports is None)
    at = [{str(value): k for k, value in enumerate(domains[v])} for v in scope]
    for row in _rows(listed.text or "", len(scope)):
        place = tuple(
            slice(None) if word == "*" else of_value.get(word, -1)
            for word, of_value in zip(row, at, strict=True)
        )
        if -1 not in place:  # a value outside the domain cannot be anyhow
            allowed[place] = supports is not None
    yield Table(tuple(scope), allowed)


def _rows(text: str, width: int) -> Iterator[list[str]]:
    if width == 1 and "(" not in text:
        yield from ([str(value)] for value in _values(text))
        return
    for row in re.findall(r"\(([^)]*)\)", text):
        yield [word.strip() for word in row.split(",")]
