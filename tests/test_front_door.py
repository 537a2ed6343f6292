"""The front door: what ``import fitgraph`` gives, without what it does not need.

What an answer says is checked where it is computed; here is checked that every answer is data,
shows itself on a screen, and refuses what cannot be used in words.
"""

from __future__ import annotations

import copy
import csv
import dataclasses
import datetime
import doctest
import io
import json
import pickle
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import Any

import narwhals as nw
import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pytest

import fitgraph
from fitgraph import shop as face
from fitgraph.catalogue import shipped_folder
from fitgraph.report import as_frame, as_text
from fitgraph.shop import Answer, Shop
from fitgraph.shop.answers import SCREEN
from tests import api_page

WIDTH = 100


@pytest.fixture(scope="module")
def shop() -> Shop:
    return fitgraph.open()


#: Every question that the front door answers, asked once.
QUESTIONS: dict[str, Callable[[Shop], Answer | None]] = {
    "parts": lambda s: s.parts,
    "features": lambda s: s.features,
    "stock": lambda s: s.stock,
    "enquiries": lambda s: s.enquiries,
    "offers": lambda s: s.offers,
    "check": lambda s: s.check(),
    "builds": lambda s: s.builds(["FORK-VEN-04"], budget=350),
    "no builds": lambda s: s.builds(["FORK-VEN-04"], budget=1),
    "exchange": lambda s: s.exchange("bar", "FORK-VEN-04", "CLMP-SKE-01", "BAR-MAR-05"),
    "remaining": lambda s: s.remaining(["FORK-VEN-04"]),
    "compare parts": lambda s: s.compare("BAR-TAR-07", "BAR-PEL-02"),
    "compare builds": lambda s: s.compare(["FORK-VEN-04", "BAR-MAR-05"], ["FORK-VEN-04"]),
    "why": lambda s: s.why("FORK-VEN-04", "BAR-MAR-05", "CLMP-SKE-02"),
    "why not within": lambda s: s.why("FORK-VEN-04", budget="100"),
    # With the more parts named the less is to be weighed.
    "measure": lambda s: s.measure("BAR-WYN-02", "FORK-VEN-07", "KIT-QUA-01", limit=3),
    "identify": lambda s: s.identify(clamp_grips_steerer="yes"),
    "advise": lambda s: s.advise("beginner"),
    "coverage": lambda s: s.coverage(),
    "pivot": lambda s: s.coverage().pivot("system", "material"),
    "gaps": lambda s: s.gaps(["family", "style"]),
    "restock": lambda s: s.restock(spend=100, steps=3),
    "adapters": lambda s: s.adapters("sleeve", k=1, limit=2),
    "map": lambda s: s.map(in_stock=True),
    "paths": lambda s: s.paths("BAR-MAR-05", "CLMP-SKE-02"),
    "paths through any part": lambda s: s.paths("FORK-VEN-04", "BAR-MAR-05", any_part=True),
    "no paths": lambda s: s.paths("FORK-VEN-04", "FORK-VEN-01"),
    "around": lambda s: s.around("BAR-MAR-05", 2),
    "bridges": lambda s: s.bridges(in_stock=True),
    "hubs": lambda s: s.hubs(),
    "families": lambda s: s.families(),
    "islands": lambda s: s.islands(in_stock=True),
    "near_misses": lambda s: s.near_misses("0.05 mm"),
    "diff": lambda s: s.diff("2026-01-15"),
    "story": lambda s: s.story(),
}


class Asked(dict[str, Answer]):
    """Answers, each asked for when it is first looked at."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop

    def __missing__(self, name: str) -> Answer:
        answer = QUESTIONS[name](self.shop)
        assert answer is not None
        self[name] = answer
        return answer


@pytest.fixture(scope="module")
def answers(shop: Shop) -> Asked:
    return Asked(shop)


def test_every_method_that_answers_is_asked_here() -> None:
    asked = {name.split()[0] for name in QUESTIONS} - {"no"}
    offered = {n for n in vars(Shop) if not n.startswith("_")}
    # What is compiled, where it lies, and what is no answer.
    others = {"catalogue", "engine", "explainer", "graph", "name", "save_builds", "save_with"}
    assert offered - asked == others


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_all_builds_can_be_saved(tmp_path: Path, ending: str) -> None:
    """As many rows as are counted, and no dearer one than the budget."""
    shop = fitgraph.open(shipped_folder("data") / "bench40")
    counted = shop.builds(limit=0).to_dict()["count"]
    written = shop.save_builds(tmp_path / f"all.{ending}")
    assert (written.builds, written.ended) == (counted, "")
    read = pd.read_csv if ending == "csv" else pd.read_parquet
    rows = read(written.path)
    assert len(rows) == counted
    middle = float(rows["price"].quantile(0.5, "lower"))
    cheap = shop.save_builds(tmp_path / f"cheap.{ending}", budget=middle)
    assert cheap.builds == (rows["price"] <= middle).sum()


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_saved_builds_say_what_listed_ones_say(tmp_path: Path, ending: str) -> None:
    """Prices in major units, and no mass where that of a part is not known."""
    folder = tmp_path / "unweighed"
    shutil.copytree(shipped_folder("data") / "bench40", folder)
    text = (folder / "parts.csv").read_text()
    (folder / "parts.csv").write_text(text.replace(",510 g,", ",,", 1))
    shop = fitgraph.open(folder)
    shop.save_builds(tmp_path / f"all.{ending}")
    read = pd.read_csv if ending == "csv" else pd.read_parquet
    rows = read(tmp_path / f"all.{ending}")
    roles = list(shop.catalogue.vocabulary.roles)
    named = dict.fromkeys(roles, "")
    saved = {
        tuple(r[role] if isinstance(r[role], str) else "" for role in roles): r
        for r in rows.to_dict("records")
    }
    listed = shop.builds(limit=len(rows)).to_dict()["builds"]
    assert {b["mass_g"] is None for b in listed} == {True, False}
    for build in listed:
        if not build["services"]:
            row = saved[tuple((named | build["parts"]).values())]
            assert row["price"] == build["price"]
            assert (None if pd.isna(row["mass_g"]) else row["mass_g"]) == build["mass_g"]


@pytest.mark.parametrize(
    "name",
    # What could be made takes long, and the command that asks for it is looked at as well.
    [pytest.param(n, marks=pytest.mark.long if n == "adapters" else ()) for n in QUESTIONS],
)
def test_an_answer_is_a_screen_and_data(answers: Asked, name: str) -> None:
    answer = answers[name]
    shown = repr(answer)
    assert 1 <= len(shown.splitlines()) <= SCREEN
    assert max(map(len, shown.splitlines())) <= WIDTH
    page = answer._repr_html_()
    assert page.startswith("<style>") and page.count('<div class="fg fg-html">') == 1
    assert page.count("<table") == page.count("</table>") and "<script" not in page
    data = json.loads(answer.to_json())
    assert data == json.loads(json.dumps(answer.to_dict())) and data
    for table in answer.tables:
        records = answer.records(table)
        rows = list(csv.DictReader(io.StringIO(answer.to_csv(table))))
        assert len(rows) == len(records)
        assert all(list(row) == list(answer.table(table).keys) for row in records)


@pytest.mark.parametrize("width", [WIDTH, 80, 72])
@pytest.mark.parametrize("name", ["parts", "features", "stock", "enquiries", "offers"])
def test_a_listing_shows_every_column_and_cuts_no_key(
    answers: Asked, name: str, width: int
) -> None:
    answer = answers[name]
    _, heads, *rows = as_text.text(answer.report(), width).splitlines()
    keys = answer.table().keys
    shown = heads.split()
    assert all(any(k.startswith(h.rstrip("…")) for k in keys) for h in shown) and len(shown) > 4
    assert [row.split()[0] for row in rows[:20]] == [str(r) for r in answer[keys[0]][:20]]
    assert all(len(line) <= width for line in rows)


def test_stock_numbers_come_as_a_list_or_side_by_side(shop: Shop) -> None:
    pair = ["FORK-VEN-04", "BAR-MAR-05"]
    assert shop.why(pair).to_dict() == shop.why(*pair).to_dict()
    assert shop.builds(tuple(pair)).to_dict() == shop.builds(pair).to_dict()


@pytest.mark.parametrize("backend", as_frame.BACKENDS)
def test_every_library_gets_the_same_frame(answers: Asked, backend: str) -> None:
    for name in ("parts", "enquiries", "builds", "why", "coverage", "restock"):
        for table in answers[name].tables:
            frame = nw.from_native(answers[name].to_frame(table, backend=backend), eager_only=True)
            records = answers[name].records(table)
            assert frame.shape == (len(records), len(answers[name].table(table).columns))
            column = frame.columns[0]
            assert [str(v) for v in frame[column].to_list()] == [str(r[column]) for r in records]


def test_arrow_is_handed_over(answers: Asked) -> None:
    table = pa.table(answers["parts"])
    assert table.num_rows == len(answers["parts"].records())
    assert table["price"][0].as_py() == answers["parts"].records()[0]["price"]


def test_money_is_in_major_units_and_the_unit_is_told(shop: Shop) -> None:
    part = next(p for p in shop.catalogue.parts.values() if p.price is not None)
    row = next(r for r in shop.parts if r["sku"] == part.sku)
    assert round(row["price"] * 100) == part.price
    assert shop.parts.units() == {"price": "EUR", "mass_g": "g"}


def test_a_budget_is_one_however_it_is_written(shop: Shop) -> None:
    one = shop.builds("FORK-VEN-04", budget=350.5, limit=1)
    for other in ("350,50", "350.50 EUR"):
        assert shop.builds(["FORK-VEN-04"], budget=other, limit=1).to_dict() == one.to_dict()


def test_pivot_adds_up(shop: Shop) -> None:
    coverage = shop.coverage()
    asked = coverage.pivot("system", "material", "enquiries")
    unmet = coverage.pivot("system", "material", "unmet")
    total = sum(v for row in asked for k, v in row.items() if k != "system" and v is not None)
    left = sum(v for row in unmet for k, v in row.items() if k != "system" and v is not None)
    assert total == sum(shop.enquiries["count"])
    assert coverage.share == pytest.approx(1 - left / total)


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda s: s.why("BAR-MAR-5"), "did you mean BAR-MAR-05"),
        (lambda s: s.why(), "name the parts"),
        (lambda s: s.why("BAR-MAR-05", "BAR-MAR-03"), "one role"),
        (lambda s: s.builds(budget="much"), "is no amount of money"),
        (lambda s: s.builds(budget=float("nan")), "is no amount of money"),
        (lambda s: s.builds(budget=-1), "out of range"),
        (lambda s: s.builds(budget=1.005), "more decimals"),
        (lambda s: s.builds(max_mass_g="4 mm"), "no mass unit"),
        (lambda s: s.builds(max_mass_g=float("inf")), "out of range"),
        (lambda s: s.builds(material="cheese"), "no material"),
        (lambda s: s.builds(sort="colour"), "use one of price, mass, strength"),
        (lambda s: s.builds(services="all"), "use one of none, owned, any"),
        (lambda s: s.builds([7]), "is no stock number"),
        (lambda s: s.builds(limit=-1), "below zero"),
        (lambda s: s.builds(limit="3"), "no whole number"),
        (lambda s: s.builds(limit=2.5), "no whole number"),
        (lambda s: s.builds(ways=None), "no whole number"),
        (lambda s: s.builds(7), "is no stock number"),
        (lambda s: s.builds({"fork": "FORK-VEN-04"}), "a dict is no list of stock numbers"),
        (lambda s: s.builds(s.stock.to_frame()), "hand in its column of them"),
        (lambda s: s.builds(s.stock.to_frame(backend="polars")), "hand in its column of them"),
        (lambda s: s.builds(material=3), "write it as text"),
        (lambda s: s.builds(max_mass_g=[4200]), "out of range"),
        (lambda s: s.builds(max_mass_g=True), "out of range"),
        (lambda s: s.builds(limit=True), "no whole number"),
        (lambda s: s.builds(in_stock="no"), "neither yes nor no"),
        (lambda s: s.why("BAR-MAR-05", in_stock=float("nan")), "neither yes nor no"),
        (lambda s: s.map(in_stock="false"), "neither yes nor no"),
        (lambda s: s.advise(broken="no"), "neither yes nor no"),
        (lambda s: s.exchange("bar", "BAR-MAR-05", ends="no"), "neither yes nor no"),
        (lambda s: s.exchange("bar", "BAR-MAR-05", material=3), "write it as text"),
        (lambda s: s.adapters(in_stock="no"), "neither yes nor no"),
        (lambda s: s.paths("BAR-MAR-05", "CLMP-SKE-02", any_part="no"), "neither yes nor no"),
        (lambda s: s.restock(seconds="ten"), "no time in seconds"),
        (lambda s: s.restock(seconds=float("nan")), "no time in seconds"),
        (lambda s: s.restock(seconds=-1), "no time in seconds"),
        (lambda s: s.builds(["FORK-VEN-04"], limit=1).open("first"), "no whole number"),
        (lambda s: s.measure(3), "is no stock number"),
        (lambda s: s.measure(limit=-1), "below zero"),
        (lambda s: s.advise(3), "write it as text"),
        (lambda s: s.restock(steps="all"), "no whole number"),
        (lambda s: s.restock(within_days=-1), "below zero"),
        (lambda s: s.adapters(k="two"), "no whole number"),
        (lambda s: s.adapters(k=-1), "below zero"),
        (lambda s: s.gaps(limit=1.5), "no whole number"),
        (lambda s: s.around(3), "is no stock number"),
        (lambda s: s.around("FORK-VEN-04", "far"), "no whole number"),
        (lambda s: s.paths("BAR-MAR-05", "CLMP-SKE-02", between=-1), "below zero"),
        (lambda s: s.diff(3), "is no path"),
        (lambda s: s.compare([], "BAR-MAR-05"), "nothing to compare"),
        (lambda s: s.coverage("colour"), "use one of style"),
        (lambda s: s.coverage(["style", "material", "month"]), "two groupings at most"),
        (lambda s: s.coverage().pivot("system", "colour"), "use one of"),
        (lambda s: s.coverage().pivot("system", "style", "colour"), "use one of share"),
        (lambda s: s.restock(target=2), "is no share"),
        (lambda s: s.restock(target=0.5, spend=3), "ask one of them"),
        (lambda s: s.adapters("deck"), "cannot be made"),
        (lambda s: s.identify(colour="red"), "colour"),
        (lambda s: s.advise("flying"), "flying"),
        (lambda s: s.parts["colour"], "use one of sku"),
        (lambda s: s.parts.to_csv("colour"), "use one of parts"),
        (lambda s: s.parts.to_frame(backend="abacus"), "pandas, polars, pyarrow"),
        (lambda s: s.graph(["NO-SUCH"]), "no part"),
        (lambda s: s.paths("BAR-MAR-05", "NO-SUCH"), "no part"),
        (lambda s: s.paths("BAR-MAR-05", "CLMP-SKE-02", first="best"), "use one of shortest"),
        (lambda s: s.near_misses("thick"), "thick"),
        (lambda s: s.near_misses(float("nan")), "out of range"),
        (lambda s: s.diff("1999-01-01"), "not counted"),
        (lambda s: s.map().save("map.png"), "ends in .graphml"),
        (lambda s: fitgraph.open("no/such/folder"), "is no folder"),
    ],
)
def test_what_cannot_be_used_is_refused_in_words(
    shop: Shop, ask: Callable[[Shop], object], words: str
) -> None:
    with pytest.raises(fitgraph.InputError, match=words) as refused:
        ask(shop)
    # A notebook shows the message instead of a traceback.
    (line,) = refused.value._render_traceback_()
    assert str(refused.value) in line


def test_a_catalogue_that_cannot_be_used_is_checked_all_the_same(tmp_path: Path) -> None:
    answer = face.check_folder(tmp_path)
    assert answer.to_dict()["usable"] is False and answer.records()


# ---------------------------------------------------------------- what is loaded


def loaded_by(code: str) -> set[str]:
    """Return the names of the libraries that a fresh interpreter has after some code."""
    ending = "; import sys; print(*{m.split('.')[0] for m in sys.modules})"
    done = subprocess.run(
        [sys.executable, "-c", code + ending], capture_output=True, encoding="utf-8", check=True
    )
    return set(done.stdout.splitlines()[-1].split())


def test_import_loads_next_to_nothing() -> None:
    assert not loaded_by("import fitgraph") & {"numpy", "scipy", "networkx", "rich", "typer"}


def test_answers_need_no_pages_and_no_frames() -> None:
    barred = "pandas polars pyarrow ipywidgets IPython plotly anywidget jupyterlab voila fpdf ezdxf"
    code = f"""
import sys
for name in {barred.split()!r}:
    sys.modules[name] = None
import fitgraph
shop = fitgraph.open()
answer = shop.why("BAR-MAR-05", "CLMP-SKE-02")
assert answer.verdict == "fails" and answer.to_csv() and answer._repr_html_() and repr(answer)
assert shop.builds(["FORK-VEN-04"], limit=1).records()
assert fitgraph.open({str(shipped_folder("data") / "hoses")!r}).coverage().share > 0
try:
    shop.parts.to_frame()
except fitgraph.InputError as error:
    print(error)
"""
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("frames need pandas or polars or pyarrow: pip install pandas")


def test_what_answers_hold_shows_no_more_than_a_screen() -> None:
    shop = fitgraph.open()
    said = shop.why("BAR-MAR-05", "CLMP-SKE-02")
    listed = shop.builds("FORK-VEN-04", limit=1)
    held = [
        shop.catalogue,
        shop.catalogue.vocabulary,
        said.found,
        listed.found,
        shop.coverage().found,
    ]
    held += [*said.found.changes, *listed.answers, shop.catalogue.parts["BAR-MAR-05"]]
    for thing in held:
        assert len(repr(thing)) < 2_500, type(thing)
    assert repr(listed.answers[0].options["fork"]) == "<fork: FORK-VEN-04>"


# ---------------------------------------------------------------- what is told


def public() -> Iterator[tuple[str, str]]:
    for name, thing in api_page.public_names().items():
        yield name, thing.__doc__ or ""
        if isinstance(thing, type):
            for member, _, found in api_page.members(thing):
                yield f"{name}.{member}", found.__doc__


def test_every_function_of_the_front_door_has_an_example_that_runs() -> None:
    """The examples run as doctests; here is seen that none is missing."""
    found = {name: doctest.DocTestParser().get_examples(doc) for name, doc in public()}
    questions = [n for n in vars(Shop) if not n.startswith("_")]
    plain = {"catalogue", "name", "engine", "explainer", "save_with"}
    lacking = [q for q in questions if q not in plain and not found.get(f"Shop.{q}")]
    assert lacking == []
    assert found["open"] and found["Answer"] and found["Shop"] and found["InputError"]


def test_every_answer_shows_all_it_can_be_asked_in_an_example() -> None:
    answers = [t for t in api_page.public_names().values() if isinstance(t, type)]
    for answer in (t for t in answers if issubclass(t, Answer)):
        shown = "".join(e.source for e in doctest.DocTestParser().get_examples(answer.__doc__))
        assert shown, answer
        own = {m for m, _, _ in api_page.members(answer)}
        assert {name for name in own if name not in shown} == set(), answer


def test_the_page_is_made_of_todays_docstrings() -> None:
    assert api_page.PAGE.read_text(encoding="utf-8") == api_page.page()
    assert all(thing in api_page.page() for thing in ("### `Shop.why(", "### `Answer.to_frame("))


@pytest.mark.long
def test_the_analyst_s_ten_lines_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    page = api_page.PAGE.read_text(encoding="utf-8")
    code = page.split("```python\n", 1)[1].split("```", 1)[0]
    assert len(code.splitlines()) <= 10
    skus = fitgraph.open().parts["sku"]
    (tmp_path / "margins.csv").write_text(
        "sku,margin\n" + "".join(f"{sku},0.25\n" for sku in skus), encoding="utf-8"
    )
    monkeypatch.chdir(tmp_path)
    names: dict[str, Any] = {}
    exec(compile(code, "docs/api.md", "exec"), names)
    assert "bar" in capsys.readouterr().out
    joined = names["joined"].dropna(subset=["margin"])
    assert len(joined) and (joined["gain"] * 4 - joined["cost"]).abs().max() < 1e-9
    assert [trace.name for trace in names["figure"].data] == ["cost", "gain"]


def test_types_come_with_the_package() -> None:
    assert (Path(fitgraph.__file__).parent / "py.typed").is_file()


@pytest.mark.parametrize("typed", ["Q" * 5000, "a word " * 800, 'it\'s "so" ' * 600])
def test_a_message_does_not_repeat_what_is_very_long(shop: Shop, typed: str) -> None:
    for ask in (
        lambda: shop.builds([typed]),
        lambda: shop.builds(material=typed),
        lambda: shop.builds(budget=typed),
        lambda: shop.builds(sort=typed),
        lambda: shop.restock(target=typed),
        lambda: shop.measure(typed),
    ):
        with pytest.raises(fitgraph.errors.InputError) as told:
            ask()
        assert len(str(told.value)) < 600 and typed[:40] in str(told.value).replace("\\", "")
        if isinstance(told.value, fitgraph.errors.ArgumentError):
            assert len(told.value.as_option) < 600


def test_a_very_long_name_is_cut_in_sentences_and_whole_in_data(shop: Shop) -> None:
    part = dataclasses.replace(shop.catalogue.parts["BAR-MAR-05"], name="Q " * 200)
    assert len(part.called) < 140 and part.called.endswith("… (BAR-MAR-05)")
    assert part.name == "Q " * 200


def test_a_list_that_is_cut_says_how_to_have_the_rest(shop: Shop) -> None:
    gaps, many = shop.gaps(limit=2), len(shop.gaps().to_dict()["stranded"])
    assert f"{many - 2} more: limit=, or to_dict()" in " ".join(gaps.to_text().split())
    assert "more: limit=" not in shop.gaps(limit=1000).to_text()
    few, whole = shop.restock(steps=1), shop.restock(steps=100)
    most = whole.to_dict()["curve"][-1]["served"]
    assert f"More money serves more, {most:g} at the most: steps=" in few.to_text()
    assert "More money serves more" not in whole.to_text()


def test_a_shop_counts_enquiries_as_its_answers_do(shop: Shop) -> None:
    asked = shop.coverage().to_dict()["total"]["enquiries"]
    assert asked > len(shop.catalogue.enquiries)
    assert f", {asked:g} enquiries, " in repr(shop)


# ---------------------------------------------------------------- what programs hand in


class Colour(StrEnum):
    """A word that is not one of any."""

    RED = "red"


#: Columns and scalars of every library, and what is none of them.
ODD: tuple[Any, ...] = (
    *(None, True, np.True_, 0, -1, 2.5, float("nan"), 10**30, 10**5000, Decimal("sNaN")),
    *("", "\x00", "\ud800", "a" * 3000, b"price", [], [None], {"x"}, {"x": 1}, range(3)),
    *(np.array([]), np.array([1, 2]), np.array(3), np.array("price"), np.array(["x", "y"])),
    *(pd.Series([1]), pd.Series(["x", "y"]), pd.DataFrame({"a": [1]}), pd.NA, pd.NaT),
    *(
        pl.Series([1]),
        pl.DataFrame({"a": [1]}),
        pa.array([1]),
        pa.scalar("x"),
        pa.table({"a": [1]}),
    ),
    *(datetime.datetime(1999, 1, 15, 3), Path("x"), object(), Colour.RED, fitgraph.open),
)

#: One argument of each kind that is read in its own way.
TAKES: dict[str, Callable[[Shop, Any], object]] = {
    "have": lambda s, v: s.builds(v, limit=0),
    "skus": lambda s, v: s.why(v),
    "budget": lambda s, v: s.builds(budget=v, limit=0),
    "max_mass_g": lambda s, v: s.builds(max_mass_g=v, limit=0),
    "material": lambda s, v: s.builds(material=v, limit=0),
    "in_stock": lambda s, v: s.islands(in_stock=v),
    "services": lambda s, v: s.builds(services=v, limit=0),
    "sort": lambda s, v: s.builds(sort=v, limit=0),
    "limit": lambda s, v: s.builds(limit=v),
    "role": lambda s, v: s.exchange(v, "OUT-01", limit=1),
    "target": lambda s, v: s.restock(target=v, steps=0),
    "seconds": lambda s, v: s.restock(seconds=v, steps=0),
    "by": lambda s, v: s.coverage(v),
    "grouping": lambda s, v: s.coverage().pivot(v, "style"),
    "steps": lambda s, v: s.around("OUT-01", v),
    "mm": lambda s, v: s.near_misses(v),
    "diff": lambda s, v: s.diff(v),
    "folder": lambda s, v: fitgraph.open(v),
    "table": lambda s, v: s.stock.to_csv(v),
    "backend": lambda s, v: s.stock.to_frame(backend=v),
    "column": lambda s, v: s.stock[v],
    "width": lambda s, v: s.stock.to_text(v),
    "file": lambda s, v: s.map().save(v),
    "answer": lambda s, v: s.save_with(v, "copy"),
}


@pytest.mark.parametrize("name", TAKES)
def test_whatever_a_program_hands_in_is_taken_or_refused_on_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.chdir(tmp_path)
    shop = fitgraph.open(shipped_folder("data") / "hoses")
    refused = 0
    for value in ODD:
        try:
            TAKES[name](shop, value)
        except fitgraph.InputError as error:
            refused += 1
            assert "\n" not in str(error) and len(str(error)) < 500, name
        except IndexError:
            assert name == "column"
    assert refused > len(ODD) / 2


def test_stock_numbers_come_in_any_column(shop: Shop) -> None:
    pair = ["FORK-VEN-04", "BAR-MAR-05"]
    wanted = shop.why(*pair).to_dict()
    frame = pd.DataFrame({"sku": pair})
    columns: tuple[Any, ...] = (
        *(set(pair), (name for name in pair), np.array(pair), np.array(pair, object)),
        *(frame["sku"], pd.Index(pair), pd.Categorical(pair), pl.Series(pair), pa.array(pair)),
        *(pa.chunked_array([pair[:1], pair[1:]]), [pair[:1], pair[1:]], dict.fromkeys(pair).keys()),
        *([" fork-ven-04", "BAR-MAR-05\n"], [np.str_(name) for name in pair]),
    )
    for column in columns:
        assert shop.why(column).to_dict()["verdict"] == wanted["verdict"], type(column)
    assert shop.builds(pa.array(pair), limit=0).count == shop.builds(set(pair), limit=0).count


def test_words_may_be_typed_in_capitals_wherever_they_are_one_of_some(shop: Shop) -> None:
    coverage = shop.coverage("System")
    assert coverage.to_dict() == shop.coverage("system").to_dict()
    pivot = coverage.pivot("System", "MATERIAL", "Unmet")
    assert pivot.to_dict() == coverage.pivot("system", "material", "unmet").to_dict()
    found = shop.exchange(" Bar", "FORK-VEN-04", sort="Mass", limit=1)
    assert found.to_dict() == shop.exchange("bar", "FORK-VEN-04", sort="mass", limit=1).to_dict()


def test_a_list_of_builds_ends_before_memory_does(shop: Shop) -> None:
    with pytest.raises(fitgraph.InputError, match=r"write 100000 or less, .* save_builds\(\)"):
        shop.builds("FORK-VEN-04", limit=100_001)
    with pytest.raises(fitgraph.InputError, match="write 100000 or less"):
        shop.builds("FORK-VEN-04", limit=1).open(1, limit=10**9)


# ---------------------------------------------------------------- an answer is data of its own


def test_numbers_stay_numbers_in_csv(answers: Asked) -> None:
    """A difference below zero is no formula; it was written as a text once."""
    below = 0
    for name in ("exchange", "why", "story", "compare parts", "near_misses"):
        for table in answers[name].tables:
            rows = csv.DictReader(io.StringIO(answers[name].to_csv(table), newline=""))
            for row, record in zip(rows, answers[name].records(table), strict=True):
                for key, value in record.items():
                    if isinstance(value, int | float) and not isinstance(value, bool):
                        assert float(row[key]) == pytest.approx(value)
                        below += value < 0
    assert below > 10


@pytest.mark.parametrize(
    "name",
    [pytest.param(n, marks=pytest.mark.long if n == "adapters" else ()) for n in QUESTIONS],
)
def test_an_answer_can_be_kept_and_copied_and_is_not_changed_from_outside(
    answers: Asked, name: str
) -> None:
    answer = answers[name]
    told = answer.to_json()
    given = answer.to_dict()
    for part in given.values():
        if isinstance(part, dict | list):
            part.clear()
    given.clear()
    assert answer.to_json() == told
    kept: Answer
    for kept in (pickle.loads(pickle.dumps(answer)), copy.copy(answer), copy.deepcopy(answer)):
        assert kept.to_json() == told and repr(kept) == repr(answer)
        assert [kept.to_csv(t) for t in kept.tables] == [answer.to_csv(t) for t in answer.tables]


def test_rows_of_a_listing_are_taken_by_place_by_piece_and_by_name(shop: Shop) -> None:
    rows = list(shop.stock)
    assert shop.stock[np.int64(1)] == shop.stock[1] == rows[1] and shop.stock[-1] == rows[-1]
    assert shop.stock[:3] == rows[:3]
    with pytest.raises(IndexError):
        shop.stock[len(rows)]


def test_a_day_may_have_a_time(shop: Shop) -> None:
    wanted = shop.diff("2026-01-15").to_dict()
    for day in (datetime.datetime(2026, 1, 15, 23), pd.Timestamp("2026-01-15 07:00")):
        assert shop.diff(day).to_dict() == wanted
    with pytest.raises(fitgraph.InputError, match="is no day"):
        shop.diff(pd.NaT)


def test_what_is_held_without_a_price_is_not_told_as_worth_nothing(tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    shutil.copytree(shipped_folder("data") / "hoses", folder)
    with (folder / "parts.csv").open(newline="", encoding="utf-8") as file:
        head, *rows = csv.reader(file)
    price = head.index("price")
    for row in rows[::2]:
        row[price] = ""
    with (folder / "parts.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([head, *rows])
    (folder / "features.csv").unlink()  # so that nothing fits for certain
    gaps = fitgraph.open(folder).gaps()
    held = gaps.to_dict()["stranded"]
    unknown = sum(part["value"] is None for part in held)
    assert 0 < unknown < len(held)
    assert f", and {unknown} of no known price" in " ".join(gaps.to_text().split())
