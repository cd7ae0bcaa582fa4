"""May one grease be added to another? The grid, its disputes, and what no chart knows."""

from __future__ import annotations

import itertools

import pytest

from app.rules import thickeners
from app.rules.tables import rows

#: US Bureau of Reclamation FIST 2-4 (11/90), Table 2; read in one hosted page
GRID = [
    ("lithium", "lithium complex", "compatible", True), ("lithium complex", "calcium", "compatible", True),
    ("lithium", "calcium", "borderline", False), ("lithium", "aluminum complex", "borderline", False),
    ("lithium complex", "aluminum complex", "compatible", False),  # disputed by other charts
    ("polyurea", "lithium", "incompatible", False), ("polyurea", "lithium complex", "incompatible", False),
    ("sodium", "lithium", "incompatible", False), ("barium", "calcium complex", "incompatible", False),
    ("clay (bentone)", "clay (bentone)", "borderline", True),  # the same product only
    ("polyurea", "polyurea", "compatible", True),
    ("calcium sulfonate complex", "polyurea", "unknown", False), ("silica gel", "lithium", "unknown", False),
    ("calcium 12-hydroxystearate", "aluminum complex", "compatible", False),  # a single source
]


@pytest.mark.parametrize("a, b, rating, mixes", GRID)
def test_a_pair_is_rated_the_same_whichever_way_round(a: str, b: str, rating: str, mixes: bool) -> None:
    for pair in (thickeners.mixing(a, b), thickeners.mixing(b, a)):
        assert (pair.rating, pair.mixes) == (rating, mixes)


def test_a_pair_nobody_rated_is_treated_as_incompatible_until_tested() -> None:
    pair = thickeners.mixing("polyurea", "cheese")
    assert (pair.rating, pair.action, pair.mixes) == ("unknown", "treat as incompatible until tested", False)
    assert thickeners.mixing("any", "any").mixes is True  # the same word twice; never the chart's own note
    assert thickeners.mixing("", "").rating == "unknown"


def test_the_same_thickener_is_the_same_product_only_even_where_no_chart_lists_it() -> None:
    assert thickeners.mixing("silica gel", "Silica  Gel").action == "same product only"


@pytest.mark.parametrize("text, name", [("Aluminium complex", "aluminum complex"), ("bentone", "clay (bentone)"),
                                        (" LITHIUM ", "lithium"), ("shear stable polyurea", "polyurea, shear stable")])
def test_the_same_thickener_is_found_under_its_other_names(text: str, name: str) -> None:
    assert thickeners.named(text) == name


def test_the_printed_grid_is_symmetric() -> None:
    printed = {(r["thickener_in_bearing"], r["thickener_to_add"]): r["rating"] for r in rows("grease_compatibility")
               if "FIST 2-4" in r["source"]}
    names = {a for a, _ in printed}
    assert len(names) == 9
    assert all(printed[a, b] == printed[b, a] for a, b in itertools.product(names, names))


def test_a_dispute_is_told() -> None:
    assert "21 published charts" in thickeners.mixing("lithium complex", "aluminum complex").disputed
    assert thickeners.mixing("sodium", "lithium").disputed == ""
    assert thickeners.mixing("sodium", "lithium").action == "do not mix"
    assert thickeners.mixing("lithium", "lithium complex").action == ""
