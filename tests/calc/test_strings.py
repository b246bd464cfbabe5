"""Mass, pull, strength and stiffness of strings against handbooks, worked examples and plain geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shimstock_calc import pitch
from shimstock_calc import strings as s
from shimstock_calc.errors import Contradiction, OutOfRange, Refused
from tests.reference import load

E4 = float(pitch.frequency("E4"))


def test_a_plain_first_string():
    # elementary: 7850 kg/m3, .010 in at 647.7 mm and E4
    assert s.plain_linear_density(0.254) == pytest.approx(0.397765, abs=5e-7)
    assert s.tension(s.plain_linear_density(0.254), 647.7, E4) == pytest.approx(72.524, abs=5e-4)


def test_a_textbook_string():
    # worked example of elementary acoustics: 65 cm, 1.6 g/m, 104 N -> 196.1 Hz
    assert s.frequency_at(104.0, 1.6, 650.0) == pytest.approx(196.1, abs=0.05)


masses, lengths, pitches = st.floats(0.02, 30), st.floats(200, 1000), st.floats(20, 1200)


@given(masses, lengths, pitches)
def test_tension_and_its_inverses_round_trip(mass, length, frequency):
    pull = float(s.tension(mass, length, frequency))
    if 0.01 <= pull <= 2000:
        assert s.frequency_at(pull, mass, length) == pytest.approx(frequency, rel=1e-9)
        assert s.linear_density_for(pull, length, frequency) == pytest.approx(mass, rel=1e-9)
        assert s.scale_length_for_tension(pull, mass, frequency) == pytest.approx(length, rel=1e-9)


def test_tension_rises_with_pitch_length_and_mass():
    assert s.tension(1.0, 650.0, 200.0) < s.tension(1.0, 650.0, 201.0)
    assert s.tension(1.0, 650.0, 200.0) < s.tension(1.0, 651.0, 200.0)
    assert s.tension(1.0, 650.0, 200.0) < s.tension(1.01, 650.0, 200.0)
    assert s.tension(1.0, 650.0, 2 * 200.0) == pytest.approx(4 * s.tension(1.0, 650.0, 200.0))


@given(st.floats(0.05, 4), st.floats(900, 11000))
def test_plain_gauge_round_trip(diameter, density):
    mass = s.plain_linear_density(diameter, density)
    assert s.plain_diameter(mass, density) == pytest.approx(diameter, rel=1e-9)


def test_which_gauge_gives_this_tension_at_this_pitch():
    # the .010 at E4 again, asked the other way round
    wanted = s.linear_density_for(72.524, 647.7, E4)
    assert s.plain_diameter(wanted) == pytest.approx(0.254, abs=1e-5)


def helix_mass(core, wrap, core_density, wrap_density):
    """Mass per metre with the true length of one helical turn."""
    turn = math.hypot(math.pi * (core + wrap), wrap)
    wound = wrap_density * math.pi / 4 * wrap**2 * turn / wrap
    return 1e-3 * (core_density * math.pi / 4 * core**2 + wound)


@pytest.mark.parametrize("core, wrap", [(0.36, 0.15), (0.40, 0.33), (0.46, 0.43), (0.9, 0.8)])
def test_a_wound_string_weighs_what_its_helix_weighs(core, wrap):
    # plain geometry: the slope of the helix, which the closed form leaves out, is worth less than 3 %
    mass = s.wound_linear_density(core, wrap, 7850.0, 8890.0)
    exact = helix_mass(core, wrap, 7850.0, 8890.0)
    assert mass < exact < 1.03 * mass


def test_a_hexagonal_core_is_between_its_inscribed_and_circumscribed_round_ones():
    size, wrap = 0.40, 0.25
    hexagon = s.wound_linear_density(size, wrap, core_shape="hex")
    assert s.wound_linear_density(size, wrap) < hexagon
    assert hexagon < s.wound_linear_density(2 * size / math.sqrt(3), wrap)
    assert s.wound_diameter(size, wrap, "hex") == pytest.approx(2 * size / math.sqrt(3) + 2 * wrap)


def test_a_hexagonal_core_by_hand():
    # (sqrt 3 / 2)·0.16·7850 + 8890·(pi·0.25/4)·(2·sqrt 3·0.4 + pi·0.25), in mg/m
    expected = 1e-3 * (1087.729 + 8890 * 0.19634954 * (1.38564065 + 0.78539816))
    assert s.wound_linear_density(0.4, 0.25, 7850, 8890, "hex") == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("shape", ["round", "hex"])
@given(core=st.floats(0.2, 2), wrap=st.floats(0.05, 2), core_density=st.floats(1000, 9000))
def test_wrap_round_trip(shape, core, wrap, core_density):
    mass = s.wound_linear_density(core, wrap, core_density, 8858.0, shape)
    assert s.wrap_for(mass, core, core_density, 8858.0, shape) == pytest.approx(wrap, rel=1e-7)


def test_a_second_wrap_lies_on_the_first():
    inner = s.wound_diameter(0.9, 0.3)
    both = s.wound_linear_density(0.9, [0.3, 0.5], 7850.0, 7850.0)
    on_solid = s.wound_linear_density(inner, 0.5) - s.plain_linear_density(inner)
    assert both == pytest.approx(s.wound_linear_density(0.9, 0.3) + on_solid)
    assert s.wound_diameter(0.9, [0.3, 0.5]) == pytest.approx(0.9 + 0.6 + 1.0)


def test_a_wound_string_is_lighter_than_a_solid_one_of_its_width():
    assert s.wound_linear_density(0.4, 0.3) < s.plain_linear_density(s.wound_diameter(0.4, 0.3))


@pytest.mark.parametrize(
    "name, material",
    [
        ("music wire A228", "steel"),
        ("stainless 430", "stainless steel"),
        ("phosphor bronze C51000", "phosphor bronze"),
        ("nickel (commercially pure)", "nickel"),
        ("copper C11000", "copper"),
        ("brass 80/20 C24000", "brass 80/20"),
        ("brass 90/10 C22000", "brass 90/10"),
        ("silver", "silver"),
        ("nylon 6", "nylon"),
        ("nylon 6,6", "nylon 6,6"),
        ("nylon 6/12", "nylon 6/12"),
        ("PVDF (fluorocarbon string material)", "fluorocarbon"),
    ],
)
def test_materials_carry_the_handbook_densities(name, material):
    # densities.csv: handbooks, each line says whether looked up or from memory
    row = load.rows("densities", material=name)[0]
    assert s.MATERIALS[material].density == float(row["density_kg_m3"])
    modulus = row["E_GPa"].split()
    if modulus:
        assert s.MATERIALS[material].modulus == pytest.approx(1e3 * float(modulus[0]))


def test_modulus_of_nylon_lies_inside_its_published_range():
    # densities.csv, polyamide (general): 2.62 to 3.2 GPa, looked up
    low, high = map(float, load.rows("densities", material="polyamide (general)")[0]["E_GPa"].split("-"))
    assert 1e3 * low < s.MATERIALS["nylon"].modulus < 1e3 * high


def test_strength_table_is_the_astm_table():
    # ASTM A228 minimum tensile strength, every row; MPa printed to 0.1
    diameters = load.column("music_wire_a228_tensile", "d_mm")
    printed = load.column("music_wire_a228_tensile", "Sut_min_MPa_conv")
    np.testing.assert_allclose(s.tensile_strength(diameters, "ASTM A228 minimum"), printed, atol=0.06)


@pytest.mark.parametrize(
    "source, fit",
    [
        ("Shigley Table 10-4", "Shigley Table 10-4"),
        ("FE reference handbook table", "FE reference handbook"),
        ("Computer Aided Engineering Design Table 1.2", "Computer Aided Engineering Design Table 1.2"),
    ],
)
def test_strength_fits_are_the_published_ones_and_near_the_table(source, fit):
    # wire_strength_fits.csv; A/d^m against the ASTM A228 minimum: 1 to 6 %
    row = load.rows("wire_strength_fits", source=source, material="music wire A228")[0]
    diameters = np.array(load.column("music_wire_a228_tensile", "d_mm"))
    diameters = diameters[diameters >= 0.3]
    strength = s.tensile_strength(diameters, fit)
    np.testing.assert_allclose(strength, float(row["A_MPa_mm^m"]) / diameters ** float(row["m"]))
    table = s.tensile_strength(diameters, "ASTM A228 minimum")
    assert np.abs(strength / table - 1).max() < 0.065
    highest = load.column("music_wire_a228_tensile", "Sut_max_MPa_conv")[-diameters.size :]
    assert (strength < highest).all()


def test_thinner_wire_is_stronger_per_area():
    assert (np.diff(s.tensile_strength(np.linspace(0.15, 1.6, 50))) < 0).all()
    assert (np.diff(s.tensile_strength(np.linspace(0.15, 1.6, 50), "ASTM A228 minimum")) < 0).all()


def test_an_octave_g_string_holds_and_goes_with_pitch_not_gauge():
    # common practice, no published source: ordinary 12-string sets put a thin plain string at G4
    gauges = np.array([0.2032, 0.2286, 0.254])
    pull = s.tension(s.plain_linear_density(gauges), 647.7, pitch.frequency("G4"))
    fraction = s.breaking_fraction(pull, gauges)
    np.testing.assert_allclose(fraction, 0.74, atol=0.015)
    assert {s.breaking_words(each) for each in fraction} == {"holds"}


def test_a_string_tuned_too_high_is_refused_with_its_share():
    pull = s.tension(s.plain_linear_density(0.254), 647.7, pitch.frequency("A#4"))
    share = float(s.breaking_fraction(pull, 0.254))
    with pytest.raises(
        s.StringBreaking, match=r"string 1 would be at 106% of its tensile strength"
    ) as caught:
        s.refuse_breaking(share, "string 1")
    assert isinstance(caught.value, Refused)
    assert caught.value.fraction == share
    assert caught.value.field == "frequency"


@pytest.mark.parametrize(
    "fraction, words",
    [
        (0.0, "holds"),
        (0.799, "holds"),
        (0.80, "near its limit"),
        (0.949, "near its limit"),
        (0.95, "would break"),
    ],
)
def test_words_for_a_share_of_the_strength(fraction, words):
    assert s.breaking_words(fraction) == words


def test_an_unknown_core_is_said_to_be_unknown_and_is_not_refused():
    assert s.breaking_words(None) == "margin unknown"
    s.refuse_breaking(None)


@given(st.floats(0.15, 0.6), st.floats(300, 900), st.floats(0.1, 0.94))
def test_the_highest_safe_pitch_is_the_inverse_of_the_margin(gauge, length, share):
    highest = float(s.highest_frequency(gauge, length, fraction=share))
    if 5 <= highest <= 5000:
        pull = s.tension(s.plain_linear_density(gauge), length, highest)
        assert s.breaking_fraction(pull, gauge) == pytest.approx(share, rel=1e-9)
        assert s.longest_scale_length(gauge, highest, fraction=share) == pytest.approx(length, rel=1e-9)


def test_the_core_of_a_wound_string_carries_everything():
    mass = float(s.wound_linear_density(0.4, 0.3, core_shape="hex"))
    highest = s.highest_frequency(0.4, 650.0, mass, core_shape="hex")
    pull = s.tension(mass, 650.0, highest)
    assert s.breaking_fraction(pull, 0.4, "hex") == pytest.approx(0.80)
    assert highest < s.highest_frequency(0.4, 650.0)


def test_stiffness_has_the_constant_of_young():
    # R. W. Young, J. Acoust. Soc. Am. 24, 267 (1952): 3.4e13·n²·d²/(f²·L⁴) cents, cm and Hz
    modulus = 25.5e6 * 7850 * 1e-6  # E/rho of steel wire 25.5e6 m²/s², densities.csv
    diameter, length, frequency = 1.0, 600.0, 220.0
    pull = s.tension(s.plain_linear_density(diameter), length, frequency)
    coefficient = float(s.inharmonicity(diameter, pull, length, modulus))
    per_square = 600 * coefficient / math.log(2)
    assert per_square == pytest.approx(3.4e13 * 0.1**2 / (frequency**2 * 60.0**4), rel=5e-3)


def polygon(corners):
    """Area and second moment of area of a polygon about the axis along x, by Green's theorem."""
    x, y = corners.T
    u, v = np.roll(x, -1), np.roll(y, -1)
    cross = x * v - u * y
    return cross.sum() / 2.0, (cross * (y**2 + y * v + v**2)).sum() / 12.0


@pytest.mark.parametrize("turned", [0.0, 0.2, math.pi / 6.0])
def test_a_hexagonal_core_is_as_stiff_as_a_hexagon(turned):
    # second moment of area 5√3/144·s⁴ of a hexagon of size s across flats, in any direction; here summed up
    # along its outline
    across = 0.4
    angle = np.arange(6) * math.pi / 3.0 + turned
    area, second = polygon(across / math.sqrt(3.0) * np.stack([np.cos(angle), np.sin(angle)], axis=1))
    assert s.core_section(across, "hex") == pytest.approx((area, second), rel=1e-12)
    assert second == pytest.approx(5.0 * math.sqrt(3.0) / 144.0 * across**4, rel=1e-12)
    around = np.linspace(0.0, 2.0 * math.pi, 20_001)[:-1]
    circle = polygon(across / 2.0 * np.stack([np.cos(around), np.sin(around)], axis=1))
    assert s.core_section(across) == pytest.approx(circle, rel=1e-6)
    # B = pi²·E·I/(T·X²), Fletcher (1964)
    stiff = math.pi**2 * 203400.0 * second / (80.0 * 647.7**2)
    assert s.inharmonicity(across, 80.0, 647.7, core_shape="hex") == pytest.approx(stiff, rel=1e-12)
    assert s.inharmonicity(across, 80.0, 647.7) / stiff == pytest.approx(0.816, abs=5e-4)


def test_partials_of_a_stiff_string_are_sharp_and_the_harmonic_reads_high():
    harmonics = s.partial_frequency(np.arange(1, 11), 110.0, 1e-4)
    sharpness = pitch.cents(harmonics, 110.0 * np.arange(1, 11))
    assert (np.diff(sharpness) > 0).all()
    assert s.octave_stretch(1e-4) == pytest.approx(pitch.cents(harmonics[1], 2 * harmonics[0]))
    assert s.octave_stretch(1e-4) > 0


@given(st.floats(1e-7, 5e-3), st.integers(1, 4), st.integers(5, 16), st.floats(30, 700))
def test_stiffness_from_two_partials_round_trip(coefficient, low, high, ideal):
    heard = [s.partial_frequency(each, ideal, coefficient) for each in (low, high)]
    found = s.inharmonicity_from_partials(low, heard[0], high, heard[1])
    assert found == pytest.approx(coefficient, rel=1e-5, abs=1e-12)


def test_many_strings_at_once():
    gauges = np.array([0.254, 0.3302, 0.4318])
    pull = s.tension(s.plain_linear_density(gauges), 647.7, pitch.frequency(["E4", "B3", "G3"]))
    assert pull.shape == (3,)
    # common practice, no published source: the plain strings of a light set pull 65 to 80 N each
    assert ((pull > 65) & (pull < 80)).all()


@pytest.mark.parametrize(
    "call, error, field",
    [
        (lambda: s.plain_linear_density(0.0), OutOfRange, "diameter"),
        (lambda: s.plain_linear_density(46.0), OutOfRange, "diameter"),
        (lambda: s.plain_linear_density(0.254, 7.85), OutOfRange, "density"),
        (lambda: s.plain_diameter(-1.0), OutOfRange, "linear_density"),
        (lambda: s.wound_linear_density(0.4, 0.0), OutOfRange, "wrap"),
        (lambda: s.wound_linear_density(0.4, []), OutOfRange, "wrap"),
        (lambda: s.wound_linear_density(0.4, 0.2, core_shape="square"), OutOfRange, "core_shape"),
        (lambda: s.wrap_for(0.1, 0.4), OutOfRange, "linear_density"),
        (lambda: s.tension(1.0, 25.5, 100.0), OutOfRange, "scale_length"),
        (lambda: s.tension(1.0, 650.0, float("nan")), OutOfRange, "frequency"),
        (lambda: s.tension(float("inf"), 650.0, 100.0), OutOfRange, "linear_density"),
        (lambda: s.frequency_at(0.0, 1.0, 650.0), OutOfRange, "tension"),
        (lambda: s.tensile_strength(0.05), OutOfRange, "diameter"),
        (lambda: s.tensile_strength(0.254, "guess"), OutOfRange, "fit"),
        (lambda: s.tensile_strength(2.5, "ASTM A228 minimum"), OutOfRange, "diameter"),
        (lambda: s.breaking_fraction(70.0, 0.254, "square"), OutOfRange, "core_shape"),
        (lambda: s.breaking_fraction(-70.0, 0.254), OutOfRange, "tension"),
        (lambda: s.highest_frequency(0.254, 650.0, fraction=0.95), OutOfRange, "fraction"),
        (lambda: s.inharmonicity(0.254, 0.0, 650.0), OutOfRange, "tension"),
        (lambda: s.inharmonicity(0.254, 70.0, 650.0, core_shape="square"), OutOfRange, "core_shape"),
        (lambda: s.core_section(0.0), OutOfRange, "core"),
        (lambda: s.inharmonicity_from_partials(2, 220.0, 2, 221.0), Contradiction, "upper_partial"),
        (lambda: s.inharmonicity_from_partials(1, 110.0, 2, 219.0), Contradiction, "upper_frequency"),
    ],
)
def test_bad_input_names_its_field(call, error, field):
    with pytest.raises(error) as caught:
        call()
    assert caught.value.field == field
