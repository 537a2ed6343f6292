"""The tables of supply, the groupings of a vocabulary, and the two commands."""

from __future__ import annotations

import csv
import datetime
import json
import shutil
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from fitgraph.catalogue import CatalogueError, demo_folder, load
from fitgraph.cli import main
from fitgraph.errors import InputError
from fitgraph.explain import conflict_text
from fitgraph.explain.glosses import glosses
from fitgraph.model import Enquiry
from fitgraph.shop.edge import share_of
from fitgraph.stock.groups import OTHER, grouper
from fitgraph.wording import first_of
from tests.shared import the_demo

# Commands on the demo do not each read it.
pytestmark = pytest.mark.usefixtures("demo_read_once")

ROOT = Path(__file__).resolve().parent.parent


def run(*words: str) -> tuple[int, str]:
    result = CliRunner().invoke(main.app, list(words))
    return result.exit_code, result.stdout


@lru_cache(maxsize=8)
def answer(*words: str) -> tuple[int, dict[str, Any]]:
    code, text = run(*words, "--json")
    return code, json.loads(text)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a copy of data/hoses, which has none of the three tables."""
    target = tmp_path / "hoses"
    shutil.copytree(demo_folder().parent / "hoses", target)
    return target


def write(folder: Path, name: str, *lines: str) -> None:
    (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")


# ---------------------------------------------------------------- tables


def test_every_usable_row_is_read_and_every_other_told(folder: Path) -> None:
    one, other = list(load(folder).catalogue.parts)[:2]
    write(
        folder,
        "supply.csv",
        "sku,supplier,pack,pack_price,lead_days,max_packs",
        f"{one},Near,,12.50,3,2",
        f"{other},Far,10,99.90,,",
        "NO-SUCH,Near,1,1.00,1,",
        f"{one},Near,two,1.00,1,",
        f"{one},Near,1,,1,",
        f"{one},Near,1,-3,1,",
        f"{other},Far,10,89.90,4,0",
    )
    write(
        folder,
        "suppliers.csv",
        "supplier,delivery,least_order,most_order",
        "Near,4.90,50,20",
        "Far,,,300",
    )
    write(
        folder,
        "stock_counts.csv",
        "date,sku,quantity",
        f"2026-02-01,{one},2",
        f"2026-02-01,{one},3",
        f"2026-01-01,{one},1",
        f"someday,{one},1",
        f"2026-01-01,{one},many",
    )
    loaded = load(folder)
    supply = loaded.supply
    assert [(o.sku, o.supplier, o.pack, o.pack_price) for o in supply.offers] == [
        (one, "Near", 1, 1250),
        (other, "Far", 10, 8990),
    ]
    assert supply.offers[0].lead_days == 3 and supply.offers[0].max_packs == 2
    assert supply.offers[1].max_packs == 0
    near = supply.terms("Near")
    assert (near.delivery, near.least_order, near.most_order) == (490, 5000, None)
    assert supply.terms("Far").most_order == 30000
    assert supply.terms("Nobody").delivery == 0
    days = {date.isoformat(): dict(of) for date, of in supply.counts.items()}
    assert days == {"2026-01-01": {one: 1}, "2026-02-01": {one: 5}}
    told = [(f.file, f.row, f.column) for f in loaded.findings if f.file != "stock.csv"]
    assert [t for t in told if t[0] == "supply.csv"] == [
        ("supply.csv", 4, "sku"),
        ("supply.csv", 5, "pack"),
        ("supply.csv", 6, "pack_price"),
        ("supply.csv", 7, "pack_price"),
        ("supply.csv", 8, "sku"),
    ]
    assert [t for t in told if t[0] == "suppliers.csv"] == [("suppliers.csv", 2, "most_order")]
    assert [t for t in told if t[0] == "stock_counts.csv"] == [
        ("stock_counts.csv", 5, "date"),
        ("stock_counts.csv", 6, "quantity"),
    ]


def test_a_supplier_without_terms_is_told_once_where_others_have_some(folder: Path) -> None:
    """A misspelt name would lose what deliveries cost without a word."""
    one, other = list(load(folder).catalogue.parts)[:2]
    rows = (f"{one},Near,2.50", f"{one},Naer,2.50", f"{other},Naer,3.50", f"{other},,3.50")
    write(folder, "supply.csv", "sku,supplier,pack_price", *rows)
    write(folder, "suppliers.csv", "supplier,delivery", "Near,4.90")
    loaded = load(folder)
    assert len(loaded.supply.offers) == 4
    told = [(f.row, f.column, f.value) for f in loaded.findings if f.file == "supply.csv"]
    assert told == [(3, "supplier", "Naer")]
    (folder / "suppliers.csv").unlink()
    assert not [f for f in load(folder).findings if f.file == "supply.csv"]


def test_a_table_without_its_columns_is_told_and_passed_over(folder: Path) -> None:
    write(folder, "supply.csv", "sku,price", "A,1")
    loaded = load(folder)
    assert loaded.supply.offers == ()
    assert any(
        f.file == "supply.csv" and "nothing can be ordered" in f.message for f in loaded.findings
    )


def test_the_guide_has_every_column() -> None:
    guide = (ROOT / "docs" / "stock.md").read_text(encoding="utf-8")
    for name in ("supply.csv", "suppliers.csv", "stock_counts.csv"):
        with (demo_folder() / name).open(encoding="utf-8") as file:
            header = next(csv.reader(file))
        section = guide[guide.index(f"`{name}`: ") :]
        assert all(f"`{column}`" in section for column in header)


# ---------------------------------------------------------------- groupings


def test_groups_follow_figures_and_features() -> None:
    """Sizes of the systems: the table in data/demo/README.md (common practice, no source)."""
    catalogue = the_demo().catalogue
    system, family = grouper(catalogue, "system"), grouper(catalogue, "family")

    def owning(*skus: str) -> Enquiry:
        return Enquiry("E", have=skus)

    turned_down = next(
        p.sku
        for p in catalogue.of("fork")
        if p.sku.startswith("FORK-SKE") and p.features["top"].lengths["diameter"].mid < 26
    )
    external = next(
        p.sku for p in catalogue.of("clamp") if p.features["fork_bore"].presence.name == "PRESENT"
    )
    assert system(owning(turned_down)) == "IHC"
    assert system(owning(turned_down, external)) == "SCS"
    assert system(owning()) == OTHER
    wide = next(
        p.sku
        for p in catalogue.of("bar")
        if p.features["outside"].lengths["diameter"].known
        and 34 < p.features["outside"].lengths["diameter"].mid < 36
        and 31 < p.features["bore"].lengths["diameter"].mid < 32.5
    )
    assert family(owning(wide)) == "oversized"
    unknown = next(
        p.sku for p in catalogue.of("bar") if not p.features["outside"].lengths["diameter"].known
    )
    assert family(owning(unknown)) == OTHER


def test_columns_of_an_enquiry_group_it_too() -> None:
    catalogue = the_demo().catalogue
    steel = next(p.sku for p in catalogue.of("bar") if p.material == "steel-4130")
    material = grouper(catalogue, "material")
    assert material(Enquiry("E", have=(steel,))) == "steel"
    assert material(Enquiry("E", have=(steel,), material="titanium")) == "titanium"
    assert material(Enquiry("E")) == OTHER
    day = datetime.date(2026, 4, 9)
    assert grouper(catalogue, "month")(Enquiry("E", date=day)) == "2026-04"
    assert grouper(catalogue, "style")(Enquiry("E", style="park")) == "park"


def test_a_grouping_that_says_nothing_is_a_fault(folder: Path) -> None:
    path = folder / "vocabulary.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text + '\n[groups.size.kinds.big]\ntitle = "no"\n', encoding="utf-8")
    with pytest.raises(CatalogueError) as caught:
        load(folder)
    told = " ".join(map(str, caught.value.findings))
    assert "groups.size.kinds.big" in told and "within" in told


# ---------------------------------------------------------------- commands


@pytest.mark.long
def test_gaps_tells_the_same_twice() -> None:
    """Text and JSON agree, and the parts add up to the whole."""
    code, found = answer("gaps", "--by", "material", "--by", "system")
    assert code == 0
    total = found["total"]
    words = ("stock", "catalogue", "possibly", "neither")
    assert sum(total[w] for w in words) == total["enquiries"] == 301
    for groups in found["by"].values():
        assert sum(g["enquiries"] for g in groups.values()) == 301
    assert sum(c["stock"] for c in found["matrix"]["cells"]) == total["stock"]
    assert sum(u["weight"] for u in found["unmet"]) == 301 - total["stock"]
    assert sum(m["enquiries"] for m in found["months"].values()) == 301
    assert sum(m["enquiries"] for m in found["months_then"].values()) == 301
    assert found["stranded_value"] == pytest.approx(sum(s["value"] or 0 for s in found["stranded"]))
    assert {"FORK-TAR-06", "WHL-QUA-11"} <= {s["sku"] for s in found["stranded"]}
    code, text = run("gaps", "--by", "family", "--limit", "1")
    assert code == 0
    assert f"{total['stock']:g} of 301 enquiries" in " ".join(text.split())
    assert "oversized" in text and found["stranded"][0]["sku"] in text
    # Groups that a name does not explain are explained; long lists are cut in the text alone.
    assert found["means"]["system"].keys() >= set(found["by"]["system"])
    assert f"oversized: {glosses(the_demo().catalogue, 'family')['oversized']}" in " ".join(
        text.split()
    )


@pytest.mark.long
def test_gaps_names_the_first_joints_and_counts_the_others() -> None:
    _, found = answer("gaps", "--by", "material", "--by", "system")
    waiting = max(found["stranded"], key=lambda s: len(s["joints"]))
    vocabulary = the_demo().catalogue.vocabulary
    titles = [vocabulary.joint(name).title for name in waiting["joints"]]
    assert waiting["standing"] == "possibly" and len(titles) > 4
    assert first_of(titles, 2) == f"{titles[0]}, {titles[1]} and {len(titles) - 2} more"
    assert first_of(titles[:2], 2) == f"{titles[0]}, {titles[1]}" and first_of([], 2) == ""


def test_gaps_tells_what_the_most_frequent_unserved_lack() -> None:
    """The command says what `fitgraph.explain` says of the same enquiries."""
    shop = the_demo()
    code, found = answer("gaps", "--lacks", "2")
    assert code == 0
    listed = shop.coverage().unserved[:2]
    assert [one["number"] for one in found["lacking"]] == [e.number for e, _ in listed]
    _, text = run("gaps", "--lacks", "2", "--limit", "1")
    told = " ".join(text.split())
    assert "184 not served from stock, in 138 rows; the first 2 are shown" in told
    for one, (enquiry, standing) in zip(found["lacking"], listed, strict=True):
        why = shop.explainer.lacks(enquiry)
        assert not isinstance(why, str) and one["standing"] == standing.word
        assert one["reasons"] == [conflict_text(c, shop.catalogue) for c in why.conflicts]
        assert one["change"] == one["ways"][0] and len(one["ways"]) == len(why.changes)
        assert f"{len(why.conflicts)} reasons, {len(why.changes)} ways out: --json" in told
        assert one["change"] in told and f"fitgraph why {' '.join(enquiry.have)}" in told
    assert answer("gaps", "--by", "material", "--by", "system")[1]["lacking"] == []


def test_workers_answer_the_same(folder: Path) -> None:
    code, alone = run("gaps", "--catalogue", str(folder), "--json")
    assert (code, alone) == run("gaps", "--catalogue", str(folder), "--json", "--workers", "2")
    assert json.loads(alone)["total"]["enquiries"] > 0


def test_gaps_of_a_shop_without_enquiries(folder: Path) -> None:
    (folder / "enquiries.csv").unlink()
    code, text = run("gaps", "--catalogue", str(folder))
    assert code == 0 and "no enquiries" in text
    code, text = run("restock", "--catalogue", str(folder), "--target", "0.9")
    assert code == 0 and "no enquiries" in text


@pytest.mark.parametrize(
    ("words", "hint"),
    [
        (("gaps", "--by", "colour"), "family"),
        (("gaps", "--by", "style", "--by", "month", "--by", "system"), "--by can name two"),
        (("restock", "--target", "90"), "90%"),
        (("restock", "--target", "much"), "0.9"),
        (("restock", "--spend", "-3"), "--spend"),
        (("restock", "--spend", "3", "--target", "0.5"), "two questions"),
    ],
)
def test_bad_options_say_how_to_mend_them(words: tuple[str, ...], hint: str) -> None:
    result = CliRunner().invoke(main.app, list(words))
    assert result.exit_code == 2
    assert result.stdout == "" and hint in result.stderr


def test_restock_answers_with_proof() -> None:
    code, found = answer("restock", "--target", "45%", "--steps", "3")
    plan = found["plan"]
    assert code == 0 and plan["reached"] and plan["proven"] and plan["gap"] == 0
    assert plan["share"] >= 0.45 and plan["served"] - plan["before"] > 0
    parts = the_demo().catalogue.parts
    lines = [line for order in plan["orders"] for line in order["lines"]]
    assert all(parts[line["sku"]].stock == 0 for line in lines)
    for order in plan["orders"]:
        assert order["goods"] == pytest.approx(sum(line["cost"] for line in order["lines"]))
    paid = sum(order["goods"] + order["delivery"] for order in plan["orders"])
    assert plan["cost"] == pytest.approx(paid)
    assert any(order["delivery"] for order in plan["orders"])
    assert [step["cost"] for step in found["curve"]] == sorted(s["cost"] for s in found["curve"])
    assert plan["cost"] in [step["cost"] for step in found["curve"]]
    code, text = run("restock", "--target", "45%", "--steps", "3")
    assert code == 0 and lines[0]["sku"] in text and "Proven:" in text
    assert "delivery" in text


def test_a_share_that_stock_reaches_says_that_nothing_has_to_be_ordered() -> None:
    code, text = run("restock", "--target", "30%", "--steps", "0")
    _, found = answer("restock", "--target", "30%", "--steps", "0")
    plan = found["plan"]
    assert code == 0 and plan["orders"] == [] and plan["share"] >= 0.3
    told = f"for 30%: {plan['before']:g} of {plan['enquiries']:g} enquiries"
    assert told in text and "are served from stock." in text


def test_what_is_out_of_reach_is_a_no() -> None:
    code, found = answer("restock", "--target", "0.95", "--steps", "0")
    assert code == 1
    assert not found["plan"]["reached"] and found["curve"] == []
    assert found["plan"]["served"] == found["reachable"]
    code, found = answer("restock", "--spend", "0", "--steps", "0")
    assert code == 0 and found["plan"]["orders"] == []


def test_targets_as_people_type_them() -> None:
    assert [share_of(t) for t in (None, "0", "1", "0,85", "85%", "85 %")] == [
        None,
        0.0,
        1.0,
        0.85,
        0.85,
        0.85,
    ]
    with pytest.raises(InputError, match="write it like"):
        share_of("nan")


def test_a_part_s_price_is_not_its_supplier_s() -> None:
    loaded = load(demo_folder())
    parts = loaded.catalogue.parts
    assert loaded.supply.offers
    for offer in loaded.supply.offers:
        price = parts[offer.sku].price
        assert price is not None and offer.pack_price < price * offer.pack
