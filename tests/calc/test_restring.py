"""What another set or tuning does: pulls, margins, relief, action, slots, refusals, and the way back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shimstock_calc import fitted as f
from shimstock_calc import pitch, restring, strings
from shimstock_calc.errors import Contradiction, Missing, OutOfRange, Refused
from shimstock_calc.fitted import FittedString
from shimstock_calc.neck_pull import heights_after
from shimstock_calc.response import Response
from shimstock_calc.scale import string_scale_lengths

THOU = 0.0254
STANDARD = ["E4", "B3", "G3", "D3", "A2", "E2"]
# plain gauges, then (gauge, core) of the wound ones, thousandths of an inch: an ordinary layout, invented
LIGHT = [9, 11, 16, (24, 13), (32, 14), (42, 15)]
REGULAR = [10, 13, 17, (26, 13.5), (36, 14.5), (46, 16)]


def electric(layout, notes=STANDARD, scale=647.7):
    built = []
    for number, (size, note) in enumerate(zip(layout, notes, strict=True), start=1):
        gauge, core = size if isinstance(size, tuple) else (size, None)
        built.append(
            FittedString(
                number,
                float(pitch.frequency(note)),
                float(np.broadcast_to(scale, 6)[number - 1]),
                kind="plain" if core is None else "wound",
                gauge=gauge * THOU,
                core=None if core is None else core * THOU,
                core_shape="hex",
                wrap_material=None if core is None else "nickel",
            )
        )
    return built


def neck(**readings):
    return restring.NeckReadings(647.7, 16, (1, 22), 9, **readings)


def test_an_electric_set_pulls_what_a_technician_expects():
    # common practice, no published source: a light set about 350 to 400 N, a regular one about 440 to 480 N
    forecast = restring.restring_forecast(electric(LIGHT), electric(REGULAR))
    assert 345 < forecast.old_total < 400
    assert 430 < forecast.new_total < 485
    assert forecast.change_share == pytest.approx(0.225, abs=0.04)
    assert all(50 < each.tension < 100 for each in forecast.strings)
    assert forecast.intonation_again


def test_heavier_strings_bow_the_neck_forward_and_raise_the_action():
    readings = neck(
        relief=0.20, action_bass=1.8, action_treble=1.6, nut_action_bass=0.45, nut_action_treble=0.35
    )
    more = restring.restring_forecast(electric(LIGHT), electric(REGULAR), neck=readings)
    assert more.relief_change.value > 0
    assert more.action_bass.value > 1.8
    assert more.nut_action_treble.value > 0.35
    less = restring.restring_forecast(electric(REGULAR), electric(LIGHT), neck=readings)
    assert less.relief_change.value < 0
    assert less.action_bass.value < 1.8
    assert less.relief_change.low < less.relief_change.value < less.relief_change.high
    assert less.change == pytest.approx(-more.change)


def test_a_floating_tremolo_with_a_heavier_set():
    # computed: +82.3 N on 647.7 mm, joint 16, held 1-22 read at 9: 0.20 -> 0.297, action 1.96 / 1.76
    old = [FittedString(1, 100.0, 647.7, linear_density=strings.linear_density_for(365.0, 647.7, 100.0))]
    new = [FittedString(1, 100.0, 647.7, linear_density=strings.linear_density_for(447.3, 647.7, 100.0))]
    readings = neck(relief=0.20, action_bass=1.8, action_treble=1.6)
    forecast = restring.restring_forecast(old, new, neck=readings)
    assert forecast.change_share == pytest.approx(0.225, abs=0.001)
    assert forecast.relief.value == pytest.approx(0.297, abs=6e-4)
    assert forecast.action_bass.value == pytest.approx(1.96, abs=0.005)
    assert forecast.action_treble.value == pytest.approx(1.76, abs=0.005)
    change = forecast.relief_change
    assert (change.low, change.high) == (pytest.approx(change.value / 2), pytest.approx(change.value * 2))


def test_a_back_bow_that_heavier_strings_cannot_cure():
    # computed: 647.7 mm, joint 16, held 1-21 read at 8: 178 N for +0.20 mm; 82 N give 0.092 (0.046 to 0.185)
    follow = restring.neck_compliance(restring.NeckReadings(647.7, 16, (1, 21), 8))
    assert restring.pull_for_relief_change(0.20, follow) == pytest.approx(178.0, abs=1.5)
    gained = restring.relief_change_for(82.0, follow)
    assert gained.value == pytest.approx(0.092, abs=5e-4)
    assert (gained.low, gained.high) == (pytest.approx(0.046, abs=5e-4), pytest.approx(0.184, abs=1.5e-3))
    assert -0.10 + gained.value < 0.10


@given(st.floats(-150, 150), st.integers(1, 2), st.integers(14, 22), st.integers(5, 11), st.floats(14, 22))
def test_heavier_strings_raise_the_action_alike_at_any_hold_frets(change, low, high, fret, joint):
    def raised(held, at):
        neck = restring.NeckReadings(
            647.7, joint, held, at, relief=0.2, action_bass=2.0, nut_action_bass=0.5, frets=22
        )
        more = restring.relief_change_for(change, restring.neck_compliance(neck))
        found = heights_after(neck, more)
        return found["action_bass"].value, found["nut_action_bass"].value

    assert raised((low, high), fret) == pytest.approx(raised((1, 21), fret), abs=1e-9)


@given(st.floats(-300, 300))
def test_pull_and_relief_round_trip(change):
    assert restring.pull_for_relief_change(restring.relief_change_for(change).value) == pytest.approx(change)


def test_a_learned_compliance_takes_the_place_of_the_estimate():
    learned = Response(0.8e-3, 0.1e-3, "learned from 4 samples of this model", "model", 4)
    forecast = restring.restring_forecast(electric(LIGHT), electric(REGULAR), compliance=learned)
    assert forecast.relief_change.value == pytest.approx(0.8e-3 * forecast.change)
    assert forecast.relief_change.high == pytest.approx(1.0e-3 * forecast.change)
    assert any("learned from 4 samples" in note for note in forecast.notes)


def test_the_same_set_again_changes_nothing():
    forecast = restring.restring_forecast(electric(LIGHT), electric(LIGHT), neck=neck(relief=0.2))
    assert forecast.change == pytest.approx(0)
    assert forecast.relief.value == pytest.approx(0.2)
    assert {each.slot for each in forecast.strings} == {"unchanged"}
    assert forecast.notes == ("intonation must be set again for every string",)


def test_tuning_down_slackens_and_keeps_the_slots():
    lower = f.retuned(electric(REGULAR), -100.0)
    forecast = restring.restring_forecast(electric(REGULAR), lower)
    # pull goes with the square of the pitch: a semitone is 2^(-1/6)
    assert forecast.change_share == pytest.approx(2 ** (-1 / 6) - 1)
    assert {each.slot for each in forecast.strings} == {"unchanged"}


def twelve_string(octave_g_note="G4"):
    principal = electric([10, 14, (23, 12), (30, 13), (39, 14), (47, 16)])
    principal = [replace(each, wrap_material="phosphor bronze" if each.core else None) for each in principal]
    seconds = [
        ("unison", "E4", 10), ("unison", "B3", 14), ("octave", octave_g_note, 9),
        ("octave", "D4", 12), ("octave", "A3", 18), ("octave", "E3", 27),
    ]  # fmt: skip
    return principal + [
        FittedString(n, float(pitch.frequency(note)), 647.7, gauge=size * THOU, member=member)
        for n, (member, note, size) in enumerate(seconds, start=1)
    ]


def test_every_string_of_a_twelve_string_counts():
    forecast = restring.restring_forecast(twelve_string(), twelve_string())
    assert len(forecast.strings) == 12
    assert [(each.number, each.member) for each in forecast.strings[4:8]] == [
        (3, "principal"),
        (3, "octave"),
        (4, "principal"),
        (4, "octave"),
    ]
    # common practice, no published source: a light 12-string set pulls about 900 to 1200 N
    assert 850 < forecast.new_total < 1250
    octave_g = forecast.strings[5]
    assert octave_g.strength_used == pytest.approx(0.75, abs=0.015)
    assert octave_g.margin == "holds"


def test_a_string_that_would_break_is_refused_by_name():
    with pytest.raises(strings.StringBreaking, match=r"string 3, octave at A#4: 1\d\d%") as caught:
        restring.restring_forecast(twelve_string(), twelve_string("A#4"))
    assert caught.value.field == "new"
    assert caught.value.fraction > 0.95


def test_a_string_near_its_limit_is_noted():
    forecast = restring.restring_forecast(twelve_string(), twelve_string("G#4"))
    octave_g = forecast.strings[5]
    assert octave_g.margin == "near its limit"
    assert 0.80 <= octave_g.strength_used < 0.95
    assert any("breaking point" in note and "string 3, octave" in note for note in forecast.notes)


def nylon():
    plain = [(0.71, "E4"), (0.82, "B3"), (1.03, "G3")]
    basses = [(1.9, "D3"), (3.3, "A2"), (5.5, "E2")]
    made = [
        FittedString(n, float(pitch.frequency(note)), 650.0, gauge=size, material="nylon")
        for n, (size, note) in enumerate(plain, 1)
    ]
    return made + [
        FittedString(n, float(pitch.frequency(note)), 650.0, "wound", linear_density=mass, material="nylon")
        for n, (mass, note) in enumerate(basses, 4)
    ]


def test_nylon_has_no_margin_and_pulls_like_nylon():
    forecast = restring.restring_forecast(nylon(), nylon(), built_for="nylon")
    assert {each.margin for each in forecast.strings} == {"margin unknown"}
    assert {each.strength_used for each in forecast.strings} == {None}
    # common practice, no published source: a classical set pulls 350 to 450 N
    assert 330 < forecast.new_total < 460
    (note,) = [note for note in forecast.notes if "margin unknown" in note]
    assert "tune up slowly, eyes protected" in note


def test_steel_strings_on_an_instrument_built_for_nylon_are_refused():
    with pytest.raises(Refused, match="built for nylon"):
        restring.restring_forecast(nylon(), electric(LIGHT), built_for="nylon")


def test_more_pull_than_the_model_allows_is_refused():
    with pytest.raises(Refused, match="this model allows 420 N"):
        restring.restring_forecast(electric(LIGHT), electric(REGULAR), pull_limit=420.0)


def test_an_unknown_core_has_no_margin():
    string = FittedString(6, 82.4, 647.7, "wound", gauge=1.17, linear_density=6.7)
    assert f.strength_used(string) is None


def test_a_bass_pulls_what_a_bass_pulls():
    # common practice, no published source: 150 to 220 N a string on 863.6 mm
    layout = [("G2", 45, 16), ("D2", 65, 18), ("A1", 85, 20), ("E1", 105, 22)]
    made = [
        replace(
            string,
            frequency=float(pitch.frequency(note)),
            scale_length=863.6,
            gauge=size * THOU,
            core=core * THOU,
        )
        for string, (note, size, core) in zip(electric([(30, 14)] * 6), layout, strict=False)
    ]
    forecast = restring.restring_forecast(made, made)
    assert all(140 < each.tension < 240 for each in forecast.strings)
    assert all(each.margin == "holds" for each in forecast.strings)


def test_a_multi_scale_board_pulls_harder_at_the_bass_end():
    fanned = electric(REGULAR, scale=string_scale_lengths(685.8, 647.7, 6))
    even = electric(REGULAR)
    ratio = [f.pull(a) / f.pull(b) for a, b in zip(fanned, even, strict=True)]
    assert ratio[0] == pytest.approx(1.0)
    assert (np.diff(ratio) > 0).all()
    assert ratio[-1] == pytest.approx((685.8 / 647.7) ** 2)


@pytest.mark.parametrize(
    "width, expected", [(0.30, "wide enough"), (0.26, "too tight"), (0.60, "wide"), (None, "check")]
)
def test_slots(width, expected):
    old, new = electric(LIGHT), electric(REGULAR)
    widths = {} if width is None else {(1, "principal"): width + (0.02 if width == 0.30 else 0.0)}
    forecast = restring.restring_forecast(old, new, slot_widths=widths)
    assert forecast.strings[0].slot == expected


def test_a_slot_that_took_the_old_string_takes_a_thinner_one():
    forecast = restring.restring_forecast(electric(REGULAR), electric(LIGHT))
    assert {each.slot for each in forecast.strings} == {"wide enough"}


def test_a_slot_too_tight_asks_for_consent():
    forecast = restring.restring_forecast(
        electric(LIGHT), electric(REGULAR), slot_widths={(6, "principal"): 46 * THOU}
    )
    assert any("consent" in note and "string 6" in note for note in forecast.notes)


def test_stiffness_is_told_where_core_and_modulus_are_known():
    forecast = restring.restring_forecast(electric(LIGHT), electric(LIGHT))
    first = forecast.strings[0]
    assert first.inharmonicity == pytest.approx(float(strings.inharmonicity(9 * THOU, first.tension, 647.7)))


def test_the_safe_tuning_is_where_the_first_string_meets_its_share():
    safe = f.safe_tuning(electric(REGULAR))
    assert safe.shift is not None
    assert safe.bounded_by == "string 1"
    shares = [f.strength_used(each) for each in f.retuned(electric(REGULAR), safe.shift)]
    assert max(shares) == pytest.approx(0.80)
    for string in electric(REGULAR):
        top = replace(string, frequency=safe.highest[string.key])
        assert f.strength_used(top) == pytest.approx(0.80)


def test_the_pull_limit_bounds_the_tuning_too():
    total = sum(f.pull(each) for each in electric(REGULAR))
    safe = f.safe_tuning(electric(REGULAR), pull_limit=0.9 * total)
    assert safe.bounded_by == "pull limit"
    assert safe.shift < 0
    assert sum(f.pull(each) for each in f.retuned(electric(REGULAR), safe.shift)) == pytest.approx(
        0.9 * total
    )


def test_nothing_known_bounds_nylon():
    safe = f.safe_tuning(nylon())
    assert (safe.shift, safe.bounded_by) == (None, None)


@pytest.mark.parametrize("index", range(6))
@given(wanted=st.floats(45, 120))
def test_which_gauge_gives_this_tension(index, wanted):
    string = electric(REGULAR)[index]
    gauge = f.gauge_for_pull(string, wanted)
    assert f.pull(replace(string, gauge=gauge)) == pytest.approx(wanted, rel=1e-7)


def test_the_nearest_gauge_in_stock():
    stock = [size * THOU for size in (8, 9, 9.5, 10, 10.5, 11, 12)]
    first = electric(LIGHT)[0]
    assert f.gauge_for_pull(first, f.pull(first), stock) == pytest.approx(9 * THOU)
    assert f.gauge_for_pull(first, 72.5, stock) == pytest.approx(10 * THOU)


plain = FittedString(1, 329.6, 647.7, gauge=0.254)


@pytest.mark.parametrize(
    "call, error, field",
    [
        (lambda: FittedString(0, 329.6, 647.7), OutOfRange, "number"),
        (lambda: FittedString(1, 0.0, 647.7), OutOfRange, "frequency"),
        (lambda: FittedString(1, 329.6, 25.5), OutOfRange, "scale_length"),
        (lambda: FittedString(1, 329.6, 647.7, "flat"), OutOfRange, "kind"),
        (lambda: FittedString(1, 329.6, 647.7, gauge=46.0), OutOfRange, "gauge"),
        (lambda: FittedString(1, 329.6, 647.7, "wound", gauge=1.0, core=1.0), Contradiction, "core"),
        (lambda: FittedString(1, 329.6, 647.7, member="third"), OutOfRange, "member"),
        (lambda: f.pull(FittedString(1, 329.6, 647.7)), Missing, "linear_density"),
        (lambda: f.pull(FittedString(4, 146.8, 647.7, "wound", gauge=0.66)), Missing, "linear_density"),
        (lambda: f.pull(replace(plain, material="mithril")), OutOfRange, "material"),
        (lambda: restring.restring_forecast([], [plain]), Missing, "old"),
        (lambda: restring.restring_forecast([plain], []), Missing, "new"),
        (lambda: restring.restring_forecast([plain], [plain, plain]), Contradiction, "new"),
        (lambda: restring.restring_forecast([plain], [plain], built_for="brass"), OutOfRange, "built_for"),
        (lambda: f.safe_tuning([]), Missing, "strings"),
        (lambda: f.gauge_for_pull(plain, 70.0, []), Missing, "stock"),
        (lambda: f.gauge_for_pull(replace(plain, kind="wound"), 70.0), Missing, "core"),
        (lambda: restring.relief_change_for(float("nan")), OutOfRange, "change"),
    ],
)
def test_bad_input_names_its_field(call, error, field):
    with pytest.raises(error) as caught:
        call()
    assert caught.value.field == field
