"""No bar leads in mass, strength and price at once: computed on the demo's bars."""

from __future__ import annotations

from statistics import median

from fitgraph.explain.advice import advise
from fitgraph.explain.triangle import doubtful, triangle, tube_figures
from fitgraph.graph.options import plain, strength_nm, strengths_nm
from fitgraph.model import Presence
from tests.shared import the_demo


def test_no_family_and_no_bar_has_all_three() -> None:
    """Common practice, no source: every part trades light, strong and affordable."""
    catalogue = the_demo().catalogue
    corners = triangle(catalogue)
    reaches = {family: set(corner.reaches) for family, corner in corners.items()}
    assert reaches == {
        "steel": {"strong", "affordable"},
        "aluminium": {"light", "affordable"},
        "titanium": {"light", "strong"},
    }
    assert corners["steel"].price < corners["aluminium"].price < corners["titanium"].price
    figures = tube_figures(catalogue)
    best = [
        max(figures, key=lambda f: f.strength_nm).sku,
        min(figures, key=lambda f: f.mass_g).sku,
        min(figures, key=lambda f: f.price).sku,
    ]
    assert len(set(best)) > 1


def test_figures_are_those_of_the_parts() -> None:
    catalogue = the_demo().catalogue
    figures = tube_figures(catalogue)
    assert len(figures) > 30
    for figure in figures[::7]:
        part = catalogue.parts[figure.sku]
        (tube,) = strengths_nm([plain(part)], catalogue.vocabulary, slot_end=False)
        assert figure.strength_nm == tube
        ranked = strength_nm(plain(part), catalogue.vocabulary)
        slotted = part.features["slot"].presence is Presence.PRESENT
        assert ranked is not None and (ranked < tube if slotted else ranked == tube)
        assert (figure.mass_g, figure.price) == (part.mass_g, part.price)
    # As in the advice, none whose own figures contradict each other.
    assert doubtful(catalogue) and not doubtful(catalogue) & {f.sku for f in figures}
    advised = {f.family: f.corner for f in advise(catalogue, "street").families}
    assert advised == triangle(catalogue)
    families = triangle(catalogue)
    steel = [f.price for f in figures if f.family == "steel"]
    assert families["steel"].price == median(steel)
