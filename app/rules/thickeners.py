"""May one grease be added to another? The thickener grid, its disputes, and what is not known.

Grid of nine thickeners: US Bureau of Reclamation FIST 2-4 (11/90), Table 2, read in one hosted page; published charts
contradict each other, so a pair they dispute, and every pair without a confirmed chart, is treated as incompatible
until tested (ASTM D6185). Lithium with lithium complex is compatible; lithium complex with polyurea is not.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.rules import tables

UNTIL_TESTED = "treat as incompatible until tested"
SAME_PRODUCT = "same product only"
COMPATIBLE, BORDERLINE, INCOMPATIBLE, UNKNOWN = "compatible", "borderline", "incompatible", "unknown"
GRID_SOURCE = "US Bureau of Reclamation FIST 2-4, Table 2"
NO_CHART = "no confirmed chart"
#: how the same thickener is written elsewhere (common usage, no published source)
_ALSO = {
    "aluminium complex": "aluminum complex", "clay": "clay (bentone)", "bentone": "clay (bentone)",
    "li": "lithium", "li complex": "lithium complex", "lithium-complex": "lithium complex",
    "calcium sulphonate complex": "calcium sulfonate complex", "calcium sulfonate": "calcium sulfonate complex",
    "polyurea (shear stable)": "polyurea, shear stable", "shear stable polyurea": "polyurea, shear stable",
}


@dataclass(frozen=True)
class Mixing:
    """What the grid says of two thickeners, and what follows."""

    rating: str  # compatible, borderline, incompatible, unknown
    action: str  # "same product only", "treat as incompatible until tested", "do not mix", or "" where they mix
    source: str
    disputed: str  # what other charts say; "" where none was found

    @property
    def mixes(self) -> bool:
        """May be mixed as far as the grid goes; the lubrication owner decides."""
        return (self.rating == COMPATIBLE and self.action != UNTIL_TESTED) or self.action == SAME_PRODUCT


def named(text: str) -> str:
    """The thickener's name as the grid writes it."""
    plain = " ".join(text.lower().split())
    return _ALSO.get(plain, plain)


def mixing(in_bearing: str, to_add: str) -> Mixing:
    """The rating of two thickeners, whichever way round. Never raises: what is not listed is unknown."""
    a, b = named(in_bearing), named(to_add)
    for row in tables.rows("grease_compatibility"):
        if (row["thickener_in_bearing"], row["thickener_to_add"]) in ((a, b), (b, a)) and a != "any":
            return _from_row(row)
    if a == b and a:
        return Mixing(COMPATIBLE, SAME_PRODUCT, NO_CHART, "")
    return Mixing(UNKNOWN, UNTIL_TESTED, NO_CHART, "")


def _from_row(row: tables.Row) -> Mixing:
    fallback = {INCOMPATIBLE: "do not mix", BORDERLINE: UNTIL_TESTED, COMPATIBLE: ""}
    source = GRID_SOURCE if "FIST 2-4" in row["source"] else NO_CHART
    disputed = "" if row["disagreement"].startswith("none found") else row["disagreement"]
    return Mixing(row["rating"], row["app_action"] or fallback[row["rating"]], source, disputed)


def all_named() -> tuple[str, ...]:
    """Every thickener of the grid, in its own order."""
    found: dict[str, None] = {}
    for row in tables.rows("grease_compatibility"):
        found.update(dict.fromkeys(n for n in (row["thickener_in_bearing"], row["thickener_to_add"]) if n != "any"))
    return tuple(found)


def row_of(in_bearing: str) -> list[tuple[str, Mixing]]:
    """One row of the grid: what each thickener does with this one."""
    return [(name, mixing(in_bearing, name)) for name in all_named()]
