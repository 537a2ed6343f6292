"""A clique of roles whose plan would not fit into memory, through the front door and commands.

Twelve roles of ten parts, each pair tied loosely: too much to be looked at together. With parts
of eight roles named, ten thousand combinations are left, which are counted here one by one.
"""

from __future__ import annotations

import itertools
import random
from pathlib import Path

import pytest
from typer.testing import CliRunner

import fitgraph
from fitgraph.cli import main

ROLES, PARTS, LOOSE = 12, 10, 9.0


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
    ["builds", "why P0-0 --budget 30", "measure", "gaps", "exchange r0 P1-1", "compare P0-0 P0-1"],
)
def test_what_needs_too_much_memory_is_refused(
    clique: tuple[Path, dict[str, list[float]]], words: str
) -> None:
    result = CliRunner().invoke(main.app, [*words.split(), "--catalogue", str(clique[0])])
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    (line,) = result.stderr.strip().splitlines()
    assert "GB of memory" in line and "What helps" in line and "fault" not in line


def test_naming_parts_helps(clique: tuple[Path, dict[str, list[float]]]) -> None:
    folder, sizes = clique
    shop = fitgraph.open(folder)
    with pytest.raises(fitgraph.InputError, match="name parts"):
        shop.builds()

    def goes(one: str, other: str) -> bool:
        a, b = int(one[1:].partition("-")[0]), int(other[1:].partition("-")[0])
        return abs(sizes[one][b] - sizes[other][a]) <= LOOSE

    def of_role(role: int) -> list[str]:
        return [f"P{role}-{n}" for n in range(PARTS)]

    have: list[str] = []
    for role in range(8):  # the first part of each role that goes with those before
        have += [p for p in of_role(role) if all(goes(p, h) for h in have)][:1]
    assert len(have) == 8
    rest = [of_role(role) for role in range(8, ROLES)]
    number = sum(
        all(goes(a, b) for a, b in itertools.combinations((*have, *some), 2))
        for some in itertools.product(*rest)
    )
    assert number > 0
    assert shop.builds(have).count == number
