"""What users of a notebook may touch of a page, and how they enter something by name."""

from __future__ import annotations

import shutil

import pytest

import fitgraph.lab as lab
from fitgraph.catalogue import demo_folder
from fitgraph.lab.answering import Answering
from fitgraph.lab.session import SessionError


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> lab.OpenCatalogue:
    # One of its own: what pages ask is kept with a catalogue, and other tests look at that.
    folder = tmp_path_factory.mktemp("touched") / "demo"
    shutil.copytree(demo_folder(), folder)
    return lab.open_catalogue(folder)


PAGES = [
    page
    for name in lab.__all__
    if isinstance(page := getattr(lab, name), type) and issubclass(page, Answering)
]


def offered(page: Answering) -> set[str]:
    return {name for name in dir(page) if not name.startswith("_")}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.__name__)
def test_what_is_completed_is_short_and_there(page: type[Answering], opened) -> None:
    made = page() if page is lab.OwnData else page(opened)
    names = offered(made)
    assert {"enter", "state", "restore", "refresh", "stop"} <= names
    assert set(page.public) <= names
    assert len(names) <= 15
    for name in names:
        getattr(made, name)
    # What ipywidgets has is still there for those who know it; it is only not offered.
    assert made.layout is not None
    assert "layout" not in names
    made.close()


def test_entries_are_entered_by_name_and_the_others_stay(opened) -> None:
    page = lab.BuildExplorer(opened)
    first = page.state()
    page.enter(budget="320")
    assert page.state() == first | {"budget": "320"}
    assert page.request.budget == 32_000
    page.enter(max_mass="3.6 kg")
    assert (page.request.budget, page.request.max_mass_g) == (32_000, 3_600)
    with pytest.raises(SessionError, match=r"no entry 'budgett' here; there are: .*budget"):
        page.enter(budgett="1")
    assert page.state()["budget"] == "320"
