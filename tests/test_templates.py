"""Templates of pages are compiled once."""

from __future__ import annotations

from pathlib import Path

import pytest
from voila.paths import collect_template_paths

import fitgraph
from fitgraph.lab import templates


def test_a_second_page_compiles_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    pages = Path(fitgraph.__file__).parent / "lab" / "pages"
    monkeypatch.setenv("JUPYTER_PATH", str(pages))
    paths = collect_template_paths(["voila", "nbconvert"], "fitgraph")

    def environment() -> templates.jinja2.Environment:
        return templates.KeptExporter(template_paths=paths, template_name="fitgraph").environment

    first = environment().get_template("index.html.j2")
    compiled: list[str] = []
    monkeypatch.setattr(
        templates.jinja2.Environment,
        "compile",
        lambda self, source, name=None, *more: compiled.append(str(name)),
    )
    second = environment().get_template("index.html.j2")
    assert compiled == []
    assert second.blocks.keys() == first.blocks.keys()
    assert "body_loop" not in second.blocks  # Voila's own
