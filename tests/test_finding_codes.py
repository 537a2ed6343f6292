"""Codes of findings stay: each is listed with what it means, here and in the guide.

``finding_codes.csv`` is the list. A code may be added to it; one that is there keeps its meaning,
since programs that read ``fitgraph check --json`` ask for it.
"""

from __future__ import annotations

import ast
import csv
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import fitgraph
from tests.shared import parsed

PACKAGE = Path(fitgraph.__file__).parent
LISTED = Path(__file__).with_name("finding_codes.csv")
GUIDE = Path(__file__).parent.parent / "docs" / "catalogue.md"

#: Where findings are made.
ROOMS = ("catalogue", "intake")


def listed() -> dict[str, str]:
    with LISTED.open(encoding="utf-8", newline="") as file:
        rows = [(row["code"], row["meaning"]) for row in csv.DictReader(file)]
    assert [code for code, _ in rows] == sorted({code for code, _ in rows})
    return dict(rows)


def trees() -> Iterator[ast.Module]:
    for room in ROOMS:
        for path in sorted((PACKAGE / room).glob("*.py")):
            yield parsed(path)


def texts(node: ast.expr) -> Iterator[str]:
    """Yield what an argument can say; of a text with a gap, a pattern."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield re.escape(node.value)
    elif isinstance(node, ast.JoinedStr):
        yield "".join(
            re.escape(str(part.value)) if isinstance(part, ast.Constant) else "[a-z-]+"
            for part in node.values
        )
    elif isinstance(node, ast.IfExp):
        yield from (*texts(node.body), *texts(node.orelse))


def given() -> set[str]:
    """Return a pattern for every code that the package gives, read from its calls."""
    takes: dict[str, set[int]] = defaultdict(set)
    found: set[str] = set()
    for tree in trees():
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef):
                names = [a.arg for a in node.args.args if a.arg != "self"]
                if "code" in names:
                    takes[node.name].add(names.index("code"))
            if isinstance(node, ast.ClassDef):
                names = [n.target.id for n in node.body if isinstance(n, ast.AnnAssign)]
                if "code" in names:
                    takes[node.name].add(names.index("code"))
    assert set(takes) >= {"Finding", "Remark", "add", "note", "doubt"}
    for tree in trees():
        for node in ast.walk(tree):
            if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "code":
                found.update(texts(node.value))
            if not isinstance(node, ast.Call):
                continue
            name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            told = [k.value for k in node.keywords if k.arg == "code"]
            told += [node.args[n] for n in takes.get(name, ()) if n < len(node.args)]
            for argument in told:
                found.update(texts(argument))
    return found


def test_every_code_is_listed_and_every_listed_code_is_given() -> None:
    codes, patterns = listed(), given()
    unlisted = {p for p in patterns if not any(re.fullmatch(p, code) for code in codes)}
    assert unlisted == set()
    never = {c for c in codes if not any(re.fullmatch(p, c) for p in patterns)}
    assert never == {"fault"}  # what a finding has that is given none


def test_the_guide_lists_every_code_with_what_it_means() -> None:
    text = GUIDE.read_text(encoding="utf-8")
    rows = re.findall(r"^\| `([a-z0-9-]+)` \| (.+) \|$", text.split("### Codes")[1], re.MULTILINE)
    assert dict(rows[: len(listed())]) == listed()


def test_no_finding_of_a_check_goes_without_a_code() -> None:
    """``fault`` is for others who build on a finding; each of ours says what kind it is."""
    for tree in trees():
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding":
                assert len(node.args) > 7 or any(k.arg == "code" for k in node.keywords)
