"""What the handbook's tables say of the woods that instruments are made of."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache

from ._tables import number, table
from .errors import Missing
from .wood import coefficient_from_shrinkage


@dataclass(frozen=True)
class Species:
    """A wood as the handbook's tables know it.

    Parameters
    ----------
    name : str
        As printed.
    latin : str or None
        Botanical name.
    shrinkage_radial, shrinkage_tangential : float or None
        Green to ovendry [%].
    coefficient_radial, coefficient_tangential : float or None
        Dimensional change [1/% MC].
    modulus : float or None
        Along the grain at 12 % MC [MPa].
    basis : dict of str to str
        Where the shrinkage, the coefficients and the modulus come from.
    """

    name: str
    latin: str | None
    shrinkage_radial: float | None
    shrinkage_tangential: float | None
    coefficient_radial: float | None
    coefficient_tangential: float | None
    modulus: float | None
    basis: dict[str, str]


@cache
def _all_species() -> dict[str, Species]:
    """Every species of the three tables by its name in small letters; the instruments' table goes first."""
    movement_rows = {row["species"].casefold(): row for row in table("wood_movement_table_13_5")}
    shrinkage_rows = {row["species"].casefold(): row for row in table("wood_shrinkage_table_4_3")}
    known = {row["species"].casefold(): _instrument_wood(row) for row in table("wood_species")}
    for key in movement_rows.keys() | shrinkage_rows.keys():
        known.setdefault(key, _handbook_wood(movement_rows.get(key), shrinkage_rows.get(key)))
    return known


def _instrument_wood(row: dict[str, str]) -> Species:
    return _completed(
        Species(
            row["species"],
            row["latin"],
            number(row["shrink_radial_pct"]),
            number(row["shrink_tangential_pct"]),
            number(row["C_R"]),
            number(row["C_T"]),
            number(row["MOE_12pct_MPa"]),
            {
                "shrinkage": row["shrinkage_basis"],
                "coefficient": row["coefficient_basis"],
                "modulus": row["modulus_basis"],
            },
        )
    )


def _handbook_wood(moves: dict[str, str] | None, shrinks: dict[str, str] | None) -> Species:
    named = moves or shrinks or {}
    return _completed(
        Species(
            named["species"],
            None,
            number(shrinks["radial_pct"]) if shrinks else None,
            number(shrinks["tangential_pct"]) if shrinks else None,
            number(moves["C_R"]) if moves else None,
            number(moves["C_T"]) if moves else None,
            None,
            {
                "shrinkage": "looked up" if shrinks else "",
                "coefficient": "looked up" if moves else "",
                "modulus": "",
            },
        )
    )


def _completed(wood: Species) -> Species:
    """Coefficients that the handbook does not print follow from the shrinkage, and say so."""
    if wood.coefficient_tangential is not None or wood.shrinkage_tangential is None:
        return wood
    radial, tangential = wood.shrinkage_radial, wood.shrinkage_tangential
    return Species(
        wood.name,
        wood.latin,
        radial,
        tangential,
        None if radial is None else float(coefficient_from_shrinkage(radial)),
        float(coefficient_from_shrinkage(tangential)),
        wood.modulus,
        {**wood.basis, "coefficient": f"computed from the shrinkage ({wood.basis['shrinkage']})"},
    )


def species_names() -> list[str]:
    """Names that `species` knows.

    Returns
    -------
    list of str
        As printed in the handbook, sorted.
    """
    return sorted((wood.name for wood in _all_species().values()), key=str.casefold)


def species(name: str) -> Species:
    """What the handbook says of a wood.

    Parameters
    ----------
    name : str
        As in `species_names`, capitals or not.

    Returns
    -------
    Species
        Shrinkage [%], coefficients [1/% MC], modulus [MPa], each None where nothing is printed.

    Raises
    ------
    Missing
        When the tables do not hold it; the message names what comes near.

    Notes
    -----
    *Wood Handbook*, USDA FPL-GTR-190 (2010), Tables 4-3, 13-5, 5-3 and 5-5, as far as carried here.

    >>> species("sugar (hard) maple").coefficient_tangential
    0.00353
    """
    known = _all_species()
    found = known.get(name.strip().casefold())
    if found is None:
        near = [known[key].name for key in get_close_matches(name.casefold(), known, n=3, cutoff=0.4)]
        hint = f"; near it: {', '.join(near)}" if near else ""
        raise Missing(
            f"species must be one that the tables hold; {name!r} is not among them{hint}", "species"
        )
    return found
