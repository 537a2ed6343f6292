"""Files named by what is wrong with them: each is read as its expected report says.

``tests/messy/expected.json`` holds of each file how many rows were read and loaded, which were
set aside and why, what was told of which row, and what every part came to. It was looked over
line by line; ``python -m tests.test_messy`` writes it anew after a change, to be looked over again.
"""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any

import pytest

from fitgraph.catalogue import demo_folder
from fitgraph.files import write_text_whole
from fitgraph.intake.job import prepared
from fitgraph.shop.imports import import_tables
from tests.fuzz_intake import fuzz
from tests.turns import turns

FOLDER = Path(__file__).parent / "messy"
EXPECTED = FOLDER / "expected.json"
FILES = sorted(p for p in FOLDER.iterdir() if p != EXPECTED)


def reported(file: Path) -> dict[str, Any]:
    """Return what an import of a file comes to."""
    job = prepared([str(file)], demo_folder())
    with tempfile.TemporaryDirectory() as place:
        report = import_tables(job, job.choices, Path(place) / "shop")
    told: dict[str, list[str]] = {}
    for finding in report.intake.findings:
        told.setdefault(str(finding.row), []).append(finding.code)
    return {
        "columns": {c.column: c.taken.means for c in job.choices},
        "read": sum(t.read for t in report.intake.tallies),
        "loaded": sum(t.loaded for t in report.intake.tallies),
        "aside": {str(a.row): a.reason for a in report.intake.aside},
        "told": told,
        "parts": {
            p.sku: [
                p.role,
                p.price,
                p.mass_g,
                p.stock,
                {k: v[0] for k, v in sorted(p.figures.items())},
            ]
            for p in report.intake.parts
        },
    }


def test_there_are_many_and_each_has_its_report() -> None:
    assert len(FILES) >= 60
    assert {p.name for p in FILES} == set(json.loads(EXPECTED.read_text(encoding="utf-8")))


@pytest.mark.some(60)
@pytest.mark.parametrize("file", FILES, ids=lambda p: p.stem)
def test_a_messy_file_is_read_as_expected(file: Path) -> None:
    expected = json.loads(EXPECTED.read_text(encoding="utf-8"))[file.name]
    found = json.loads(json.dumps(reported(file)))
    assert found == expected
    assert found["read"] == found["loaded"] + len(found["aside"])


def test_spoilt_inputs_bring_nothing_down() -> None:
    """A short run; ``python -m tests.fuzz_intake --inputs 100000`` is the long one."""
    inputs = turns(400, 120)
    came = fuzz(inputs, seed=3)
    assert came["read"] > inputs / 4 == came["catalogue"]


if __name__ == "__main__":
    every = {file.name: reported(file) for file in FILES}
    write_text_whole(EXPECTED, json.dumps(every, ensure_ascii=False, indent=1) + "\n")
