"""A clique of roles whose plan would not fit into memory, through the front door and commands.

Thirteen roles of ten parts, each pair tied loosely: too much to be looked at together, and with
one part named as well. With parts of nine roles named, ten thousand combinations are left, which
are gone through here one by one.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest
from typer.testing import CliRunner

import fitgraph
from fitgraph.cli import main

ROLES, PARTS, NAMED, LOOSE = 13, 10, 9, 9.0


@pytest.fixture(scope="module")
def clique(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, list[float]]]:
    """Return a catalogue's folder, and the size that each part shows each role."""
    folder = tmp_path_factory.mktemp("clique")
    rng = random.Random(3)
    words = ['[trade]\nname = "Clique"\ncurrency = "EUR"\nminor_digits = 2\n']
    parts, figures = ["sku,role,price"], ["sku,feature,dimension,value,basis"]
    sizes: dict[str, list[float]] = {}
    for one in range(ROLES):
        words.append(f'[roles.r{one}]\nfill = "always"\n')
        for other in range(ROLES):
            words.append(f"[roles.r{one}.features.f{other}]\n")
            words.append('dimensions.d = { plausible = "5..40 mm" }\n')
        for n in range(PARTS):
            sku = f"P{one}-{n}"
            parts.append(f"{sku},r{one},{rng.randint(1, 99)}")
            sizes[sku] = [round(rng.uniform(10, 25), 2) for _ in range(ROLES)]
            figures += [f"{sku},f{k},d,{mm} ±0,maker" for k, mm in enumerate(sizes[sku])]
    for one, other in itertools.combinations(range(ROLES), 2):
        words.append(
            f'[[joints]]\nid = "j{one}-{other}"\nrule = "clearance"\nleast = "-{LOOSE} mm"\n'
            f'most = "{LOOSE} mm"\nbore = "r{one}.f{other}.d"\nspigot = "r{other}.f{one}.d"\n'
        )
    (folder / "vocabulary.toml").write_text("".join(words))
    (folder / "parts.csv").write_text("\n".join(parts))
    (folder / "features.csv").write_text("\n".join(figures))
    return folder, sizes


@pytest.mark.parametrize(
    "words",
    ["builds", "why P0-0 --budget 30", "measure", "gaps", "exchange r0 P0-0", "compare P0-0 P0-1"],
)
def test_what_needs_too_much_memory_is_refused(
    clique: tuple[Path, dict[str, list[float]]], words: str
) -> None:
    result = CliRunner().invoke(main.app, [*words.split(), "--catalogue", str(clique[0])])
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    (line,) = result.stderr.strip().splitlines()
    assert "GB of memory" in line and "What helps" in line and "fault" not in line
    # Only what takes stock numbers is told to name some.
    assert ("name parts" in line) == (words != "gaps")
    assert ("fewer parts" in line) == (words == "gaps")


@dataclass
class Named:
    """A shop, a part of each of the first roles that go together, and what completes them."""

    shop: fitgraph.shop.front.Shop
    sizes: dict[str, list[float]]
    have: list[str]

    def goes(self, one: str, other: str) -> bool:
        a, b = int(one[1:].partition("-")[0]), int(other[1:].partition("-")[0])
        return abs(self.sizes[one][b] - self.sizes[other][a]) <= LOOSE

    def whole(self, have: Sequence[str]) -> list[tuple[str, ...]]:
        """Return every build that has some parts, one a role."""
        named = {int(p[1:].partition("-")[0]) for p in have}
        builds = (
            [tuple(have)] if all(self.goes(*p) for p in itertools.combinations(have, 2)) else []
        )
        for role in set(range(ROLES)) - named:
            builds = [(*b, p) for b in builds for p in of_role(role) if self.all_go(p, b)]
        return builds

    def all_go(self, part: str, others: Iterable[str]) -> bool:
        return all(self.goes(part, other) for other in others)


def of_role(role: int) -> list[str]:
    return [f"P{role}-{n}" for n in range(PARTS)]


@pytest.fixture(scope="module")
def named(clique: tuple[Path, dict[str, list[float]]]) -> Named:
    folder, sizes = clique
    found = Named(fitgraph.open(folder), sizes, [])
    for role in range(NAMED):  # the first part of each role that goes with those before
        found.have += [p for p in of_role(role) if found.all_go(p, found.have)][:1]
    assert len(found.have) == NAMED
    return found


def test_naming_parts_helps_to_count(named: Named) -> None:
    with pytest.raises(fitgraph.InputError, match="name parts"):
        named.shop.builds()
    builds = named.whole(named.have)
    assert builds
    assert named.shop.builds(named.have).count == len(builds)


def test_naming_parts_helps_to_exchange(named: Named) -> None:
    for role in (ROLES - 1, 0):
        rest = [p for p in named.have if p not in of_role(role)]
        goes = {p for p in of_role(role) if named.whole([*rest, p])} - set(named.have)
        answer = named.shop.exchange(f"r{role}", *named.have, limit=PARTS)
        assert {e.part.sku for e in answer.found.parts} == goes
        assert answer.to_dict()["all_stay"] is True
        assert "too much memory" in " ".join(answer.to_text().split())


def test_naming_parts_helps_to_compare_and_to_measure(named: Named) -> None:
    fewer = named.have[:-1]
    answer = named.shop.compare(named.have, fewer)
    for side, have in zip(answer.to_dict()["sides"], (named.have, fewer), strict=True):
        assert side["builds"] == side["possible"] == len(named.whole(have))
    assert not named.shop.measure(*named.have).yes  # all is known


def test_naming_parts_helps_to_tell_what_remains(named: Named) -> None:
    answer = named.shop.remaining(named.have)
    for role in (0, ROLES - 1):
        rest = [p for p in named.have if p not in of_role(role)]
        for one in answer.found[f"r{role}"]:
            assert one.builds == len(named.whole([*rest, one.part.sku]))


def test_naming_parts_helps_to_tell_whether_a_budget_is_enough(named: Named) -> None:
    parts = named.shop.catalogue.parts
    owned = set(named.have)
    prices = [
        sum((parts[p].price or 0) for p in b if p not in owned) for b in named.whole(named.have)
    ]
    enough = named.shop.why(*named.have, budget=min(prices) / 100)
    assert enough.verdict == "fits"
    short = named.shop.why(*named.have, budget=min(prices) / 100 - 1)
    assert short.verdict == "fails" and short.to_dict()["complete"] is False
    assert "name parts of more roles" in " ".join(short.to_text().split())
