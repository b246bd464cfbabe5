"""Moisture of wood at rest and its movement across the grain, against the handbook's own tables."""

from __future__ import annotations

import doctest

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shimstock_calc import species as species_module
from shimstock_calc import wood
from shimstock_calc.errors import CalculationError, Missing, OutOfRange
from shimstock_calc.species import species, species_names
from tests.reference.load import table

MOVES = {row["species"]: row for row in table("wood_movement_table_13_5")}
SHRINKS = {row["species"]: row for row in table("wood_shrinkage_table_4_3")}
DISAGREE = {"Ash, green", "Birch, sweet"}  # the handbook's two tables differ here, as its own figures show
SOFTWOOD = ("Cedar", "Douglas-fir", "Fir")
BOTH = sorted(name for name in MOVES.keys() & SHRINKS.keys() if not name.startswith(SOFTWOOD))

humidities = st.floats(0.0, 95.0)
temperatures = st.floats(-5.0, 45.0)


def test_equilibrium_moisture_meets_every_cell_of_table_4_2():
    # Wood Handbook FPL-GTR-190 (2010), Table 4-2; Eq. (4-5) is printed to meet it within 0.06 % MC
    rows = table("wood_emc_table_4_2")
    assert len(rows) == 9 * 19
    humidity = [float(row["rh_percent"]) for row in rows]
    temperature = [(float(row["temp_F"]) - 32.0) / 1.8 for row in rows]
    printed = [float(row["emc_percent"]) for row in rows]
    assert wood.wood_moisture(humidity, temperature) == pytest.approx(printed, abs=0.06)


def test_indoor_columns_of_the_typical_years_follow_from_the_same_equation():
    # NREL TMY3 typical years, EMC computed at 21 degC with RH cut at 99 %; 3 decimals of RH and EMC
    for row in table("climate_monthly"):
        for rh, emc in (
            ("RHin_at_21C_no_source", "EMC_indoor_no_source"),
            ("RHin_at_21C_plus_2g_m3", "EMC_indoor_plus2g"),
        ):
            humidity = float(row[rh])
            assert wood.hailwood_horrobin(min(humidity, 99.0), 21.0) == pytest.approx(
                float(row[emc]), abs=0.0015
            )
            kept = wood.hailwood_horrobin(min(humidity, 95.0), 21.0)
            assert wood.wood_moisture(min(humidity, 100.0), 21.0) == pytest.approx(float(kept), abs=1e-12)


@given(humidities, temperatures)
def test_humidity_for_a_moisture_takes_the_moisture_back(humidity, temperature):
    moisture = wood.wood_moisture(humidity, temperature)
    assert wood.humidity_for_moisture(moisture, temperature) == pytest.approx(humidity, abs=1e-7)


@given(humidities, humidities, temperatures)
def test_drier_air_means_less_moisture(one, other, temperature):
    low, high = sorted((one, other))
    assert wood.wood_moisture(low, temperature) <= wood.wood_moisture(high, temperature)


@given(st.floats(5.0, 95.0), st.floats(0.0, 40.0), st.floats(1.0, 10.0))
def test_warmer_air_of_the_same_humidity_dries_wood(humidity, temperature, step):
    # true of Table 4-2 from 50 degF up; below about 10 degC the equation turns over by less than 0.05 % MC
    warmer = wood.wood_moisture(humidity, temperature + step)
    assert warmer <= wood.wood_moisture(humidity, temperature) + 0.05


@pytest.mark.parametrize(
    "change",
    [
        wood.movement(232.0, 8.0, 11.0, 0.00245),
        wood.movement_from_shrinkage(232.0, 8.0, 11.0, 7.0),
    ],
)
def test_the_handbooks_white_fir_floor_board(change):
    # Wood Handbook ch. 13, worked example: 232 mm, 8 -> 11 % MC: 233.7 mm (C_T from memory)
    assert 232.0 + float(change) == pytest.approx(233.7, abs=0.05)


@pytest.mark.parametrize("name", [name for name in BOTH if name not in DISAGREE])
def test_the_two_tables_agree_through_the_two_equations(name):
    # Wood Handbook Tables 4-3 and 13-5: C = S / (3000 - 20 S)
    for shrinkage, coefficient in (("radial_pct", "C_R"), ("tangential_pct", "C_T")):
        computed = wood.coefficient_from_shrinkage(float(SHRINKS[name][shrinkage]))
        assert computed == pytest.approx(float(MOVES[name][coefficient]), abs=1.0e-5)


def test_enough_species_stand_in_both_tables_for_that_check():
    assert len(BOTH) >= 30
    assert set(BOTH) >= DISAGREE


def test_every_figure_of_the_three_tables_is_shipped():
    # Wood Handbook Tables 4-3 and 13-5
    instrument_woods = {row["species"]: row for row in table("wood_species")}
    for name, row in MOVES.items():
        if name not in instrument_woods:
            assert species(name).coefficient_radial == float(row["C_R"])
            assert species(name).coefficient_tangential == float(row["C_T"])
    for name, row in SHRINKS.items():
        assert species(name).shrinkage_tangential == float(row["tangential_pct"])
        assert species(name).shrinkage_radial == float(row["radial_pct"])
    for name, row in instrument_woods.items():
        known = species(name)
        assert known.latin == row["latin"]
        assert known.modulus == (float(row["MOE_12pct_MPa"]) if row["MOE_12pct_MPa"] else None)
        assert known.basis["shrinkage"] == row["shrinkage_basis"]
    printed = {name.casefold() for name in (*MOVES, *SHRINKS, *instrument_woods)}
    assert {name.casefold() for name in species_names()} == printed


def test_a_wood_without_printed_coefficients_gets_them_from_its_shrinkage_and_says_so():
    rosewood = species("Indian rosewood")
    assert rosewood.coefficient_tangential == pytest.approx(5.8 / (3000 - 116), abs=1e-9)
    assert "computed from the shrinkage" in rosewood.basis["coefficient"]


def test_the_instruments_own_table_agrees_with_its_equation_where_both_are_printed():
    # Wood Handbook Eq. (13-3); softwoods and mahogany's table values deviate by up to 6e-4, hardwoods do not
    for row in table("wood_species"):
        if row["C_T"] and row["shrinkage_basis"] == row["coefficient_basis"] == "looked up":
            computed = wood.coefficient_from_shrinkage(float(row["shrink_tangential_pct"]))
            assert computed == pytest.approx(float(row["C_T"]), abs=1e-5)


@given(st.floats(6.0, 14.0), st.floats(6.0, 14.0), st.floats(3.0, 12.0))
def test_the_two_movement_equations_agree_within_the_range_of_the_first(before, after, shrinkage):
    # Eq. (13-2) is Eq. (13-3) linearised at 10 % MC: 4 % MC away the two part by at most a tenth
    linear = wood.movement(300.0, before, after, wood.coefficient_from_shrinkage(shrinkage))
    exact = wood.movement_from_shrinkage(300.0, before, after, shrinkage)
    assert linear == pytest.approx(float(exact), rel=0.1, abs=1e-9)


@given(st.floats(0.5, 29.0), st.floats(0.5, 29.0), st.floats(0.0005, 0.006))
def test_moisture_for_a_width_takes_the_width_back(before, after, coefficient):
    width = 400.0 + float(wood.movement(400.0, before, after, coefficient))
    assert wood.moisture_for_width(400.0, width, before, coefficient) == pytest.approx(after, abs=1e-6)


def test_drier_wood_is_narrower():
    assert wood.movement(300.0, 10.0, 7.0, 0.002) < 0 < wood.movement(300.0, 7.0, 10.0, 0.002)


def test_a_two_layer_neck_bends_by_a_tenth_of_a_millimetre():
    # S. Timoshenko, J. Opt. Soc. Am. 11, 233 (1925); 4 % MC at 2e-5 per % MC along the grain, from memory
    assert wood.bilayer_relief(6.0, 14.0, -8e-5, 417.0) == pytest.approx(0.11, abs=0.005)


def test_equal_layers_of_equal_stiffness_bend_by_three_halves_of_strain_over_height():
    # Timoshenko (1925): m = n = 1 gives curvature 3/2 · strain / height
    relief = wood.bilayer_relief(5.0, 5.0, -1e-4, 400.0)
    assert relief == pytest.approx(1.5 * 1e-4 / 10.0 * 400.0**2 / 8.0, rel=1e-12)


def test_a_board_that_swells_more_than_its_neck_bends_the_neck_back():
    assert wood.bilayer_relief(6.0, 14.0, +8e-5, 417.0) < 0 < wood.bilayer_relief(6.0, 14.0, -8e-5, 417.0)


@pytest.mark.parametrize(
    "call, field",
    [
        (lambda: wood.wood_moisture(101.0, 20.0), "relative_humidity"),
        (lambda: wood.wood_moisture(float("nan"), 20.0), "relative_humidity"),
        (lambda: wood.wood_moisture(50.0, 200.0), "temperature"),
        (lambda: wood.humidity_for_moisture(29.0, 20.0), "moisture"),
        (lambda: wood.humidity_for_moisture(-1.0, 20.0), "moisture"),
        (lambda: wood.movement(0.0, 8.0, 9.0, 0.002), "width"),
        (lambda: wood.movement(100.0, 8.0, 35.0, 0.002), "moisture_after"),
        (lambda: wood.movement(100.0, 8.0, 9.0, 0.2), "coefficient"),
        (lambda: wood.movement_from_shrinkage(100.0, 8.0, 9.0, 0.0), "shrinkage"),
        (lambda: wood.moisture_for_width(100.0, 120.0, 8.0, 0.002), "width_after"),
        (lambda: wood.bilayer_relief(6.0, 0.0, 1e-5, 400.0), "neck_thickness"),
        (lambda: species("plywood of nowhere"), "species"),
    ],
)
def test_bad_input_names_its_field(call, field):
    with pytest.raises(CalculationError) as caught:
        call()
    assert caught.value.field == field


def test_an_unknown_species_is_answered_with_near_ones():
    with pytest.raises(Missing, match="sugar \\(hard\\) maple"):
        species("sugar maple (hard)")


def test_notes_appear_only_outside_the_tables_range():
    assert wood.moisture_notes(50.0, 21.0) == []
    assert len(wood.moisture_notes([97.0, 2.0], [-10.0, 20.0])) == 3


def test_movement_outside_6_to_14_percent_is_noted():
    assert wood.movement_notes([6.0, 8.0], 14.0) == []
    assert "6 to 14" in wood.movement_notes(8.0, 15.0)[0]


def test_arrays_broadcast():
    grid = wood.wood_moisture(np.linspace(5, 95, 10)[:, None], np.linspace(0, 40, 5))
    assert grid.shape == (10, 5)
    with pytest.raises(OutOfRange):
        wood.wood_moisture(np.array([50.0, np.inf]), 20.0)


@pytest.mark.parametrize("module", [wood, species_module])
def test_examples_in_the_docstrings(module):
    assert doctest.testmod(module).failed == 0
