"""A string as fitted: which course it belongs to, how it is tuned, what it weighs and whether it holds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ._checks import positive, within
from .errors import Contradiction, Missing, OutOfRange
from .pitch import nearest_note
from .strings import (
    BREAKING_NOTE,
    BREAKING_REFUSAL,
    MATERIALS,
    StringBreaking,
    breaking_fraction,
    highest_frequency,
    plain_diameter,
    plain_linear_density,
    tension,
    wound_linear_density,
    wrap_for,
)
from .wire import SHIGLEY, StrengthFit

Kind = Literal["plain", "wound"]
Member = Literal["principal", "octave", "unison"]
MEMBERS: tuple[Member, ...] = ("principal", "octave", "unison")


@dataclass(frozen=True)
class FittedString:
    """One string of an instrument, tuned.

    Parameters
    ----------
    number : int
        Course, 1 = treble side [-].
    frequency : float
        Pitch of the open string [Hz].
    scale_length : float
        Its own scale length [mm].
    kind : str
        `plain` or `wound` [-].
    gauge : float or None
        Outside diameter [mm].
    linear_density : float or None
        Mass per length where known; else computed from gauge, core and materials [g/m].
    material : str
        Of a plain string, or of a wound one's core: a name in `MATERIALS` [-].
    core : float or None
        A wound string's core: diameter, or size across flats [mm].
    core_shape : str
        `round` or `hex` [-].
    wrap_material : str or None
        Of a wound string: a name in `MATERIALS` [-].
    member : str
        `principal`; the second string of a course is its `octave` or `unison` [-].
    """

    number: int
    frequency: float
    scale_length: float
    kind: Kind = "plain"
    gauge: float | None = None
    linear_density: float | None = None
    material: str = "steel"
    core: float | None = None
    core_shape: Literal["round", "hex"] = "round"
    wrap_material: str | None = None
    member: Member = "principal"

    def __post_init__(self) -> None:
        within(self.number, "number", 1, 24)
        within(self.frequency, "frequency", 5.0, 5000.0, "Hz")
        within(self.scale_length, "scale_length", 100.0, 2000.0, "mm")
        if self.kind not in ("plain", "wound"):
            raise OutOfRange(f"kind must be plain or wound; not {self.kind!r}", "kind")
        if self.member not in MEMBERS:
            raise OutOfRange(f"member must be one of {', '.join(MEMBERS)}; not {self.member!r}", "member")
        if self.gauge is not None:
            within(self.gauge, "gauge", 0.05, 6.0, "mm")
        if self.core is not None and self.gauge is not None and self.core >= self.gauge:
            raise Contradiction(f"core must be thinner than the gauge of {self.name}", "core")

    @property
    def name(self) -> str:
        """How to call it: `string 3`, or `string 3, octave`."""
        return f"string {self.number}" + ("" if self.member == "principal" else f", {self.member}")

    @property
    def key(self) -> tuple[int, str]:
        """Course and member, which tell the strings of an instrument apart."""
        return self.number, self.member


def _material(name: str | None, field: str) -> str:
    if name not in MATERIALS:
        raise OutOfRange(f"{field} must be one of {', '.join(MATERIALS)}; not {name!r}", field)
    return name


def mass_per_length(string: FittedString) -> float:
    """Mass per length of a fitted string, given or computed.

    Parameters
    ----------
    string : FittedString
        The string.

    Returns
    -------
    float
        Linear density [g/m].

    Raises
    ------
    Missing
        When it is not given and gauge, core or wrap material are not either.
    OutOfRange
        When a material is not known or a size is absurd.

    >>> round(mass_per_length(FittedString(1, 329.63, 647.7, gauge=0.254)), 4)
    0.3978
    """
    if string.linear_density is not None:
        return float(within(string.linear_density, "linear_density", 0.005, 300.0, "g/m"))
    if string.gauge is None:
        raise Missing(f"{string.name} needs linear_density or gauge", "linear_density")
    density = MATERIALS[_material(string.material, "material")].density
    if string.kind == "plain":
        return float(plain_linear_density(string.gauge, density))
    if string.core is None or string.wrap_material is None:
        raise Missing(
            f"{string.name} is wound: it needs linear_density, or core and wrap_material", "linear_density"
        )
    width = string.core if string.core_shape == "round" else 2.0 * string.core / math.sqrt(3.0)
    wrap = (string.gauge - width) / 2.0
    if wrap <= 0.02:
        raise Contradiction(f"core leaves no room for a wrap within the gauge of {string.name}", "core")
    wrap_density = MATERIALS[_material(string.wrap_material, "wrap_material")].density
    return float(wound_linear_density(string.core, wrap, density, wrap_density, string.core_shape))


def pull(string: FittedString) -> float:
    """Tension of a fitted string.

    Parameters
    ----------
    string : FittedString
        The string.

    Returns
    -------
    float
        Tension [N].

    Raises
    ------
    Missing, OutOfRange
        As `mass_per_length`.
    """
    return float(tension(mass_per_length(string), string.scale_length, string.frequency))


def margin_core(string: FittedString) -> float | None:
    """Diameter that carries a steel string's pull; None where no margin can be given.

    Parameters
    ----------
    string : FittedString
        The string.

    Returns
    -------
    float or None
        A plain steel string's gauge, a wound one's steel core, else None: never the steel table for nylon,
        fluorocarbon, gut or an unknown core [mm].

    Raises
    ------
    OutOfRange
        When the material is not known.
    """
    if not MATERIALS[_material(string.material, "material")].steel:
        return None
    return string.gauge if string.kind == "plain" else string.core


def strength_used(string: FittedString, fit: StrengthFit = SHIGLEY) -> float | None:
    """Share of its strength that a fitted string uses.

    Parameters
    ----------
    string : FittedString
        The string.
    fit : str
        Which published strength; see `tensile_strength` [-].

    Returns
    -------
    float or None
        Stress over strength; None where it is not known [-].

    Raises
    ------
    Missing, OutOfRange
        As `mass_per_length`.
    """
    core = margin_core(string)
    if core is None:
        return None
    shape = "round" if string.kind == "plain" else string.core_shape
    return float(breaking_fraction(pull(string), core, shape, fit))


def refuse_what_breaks(strings: Sequence[FittedString], field: str = "new") -> None:
    """Refuse a set of which a string would not hold.

    Parameters
    ----------
    strings : sequence of FittedString
        The set, tuned.
    field : str
        Which field to blame [-].

    Raises
    ------
    StringBreaking
        Naming every string from 0.95 of its strength up.
    Missing, OutOfRange
        As `mass_per_length`.
    """
    shares = [(string, strength_used(string)) for string in strings]
    broken = [(string, share) for string, share in shares if share is not None and share >= BREAKING_REFUSAL]
    if broken:
        told = "; ".join(f"{s.name} at {nearest_note(s.frequency)[0]}: {share:.0%}" for s, share in broken)
        raise StringBreaking(
            f"strings would be strained to 95 % of their tensile strength or beyond ({told}): "
            "tune lower or take a shorter scale; a thinner gauge hardly helps",
            field,
            max(share for _, share in broken),
        )


def retuned(strings: Sequence[FittedString], cents: float) -> tuple[FittedString, ...]:
    """The same strings, all tuned up or down.

    Parameters
    ----------
    strings : sequence of FittedString
        The set.
    cents : float
        How far; positive = up; -2400 to 2400 [cents].

    Returns
    -------
    tuple of FittedString
        The set at its new pitch.

    Raises
    ------
    OutOfRange
        When the interval lies outside its range.
    """
    ratio = 2.0 ** (float(within(cents, "cents", -2400.0, 2400.0, "cents")) / 1200.0)
    return tuple(replace(string, frequency=string.frequency * ratio) for string in strings)


@dataclass(frozen=True)
class SafeTuning:
    """How high a set may be tuned.

    Parameters
    ----------
    shift : float or None
        How far all strings may go up together; negative = down; None = nothing bounds it [cents].
    bounded_by : str or None
        The string, or the pull limit, that is met first [-].
    highest : dict of (int, str) to float or None
        Highest pitch of each string by course and member; None = margin unknown [Hz].
    """

    shift: float | None
    bounded_by: str | None
    highest: dict[tuple[int, str], float | None]


def safe_tuning(
    strings: Sequence[FittedString], pull_limit: float | None = None, fraction: float = BREAKING_NOTE
) -> SafeTuning:
    """Which tuning is safe: how far up a set may go, and each string by itself.

    Parameters
    ----------
    strings : sequence of FittedString
        The set as tuned now.
    pull_limit : float, optional
        Largest total pull that the model allows [N].
    fraction : float
        Share of the strength to stay within, below 0.95 [-].

    Returns
    -------
    SafeTuning
        Common shift, what bounds it, and the highest pitch of each string.

    Raises
    ------
    Missing
        When the set is empty or a string's mass is not known.
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    Inverse of `strength_used` for the pitch; total pull grows with the square of the frequency.

    >>> first = FittedString(1, 329.6276, 647.7, gauge=0.254)
    >>> safe = safe_tuning([first])
    >>> round(safe.shift), safe.bounded_by
    (355, 'string 1')
    """
    if not strings:
        raise Missing("strings must hold at least one string", "strings")
    highest: dict[tuple[int, str], float | None] = {}
    bounds: list[tuple[float, str]] = []
    for string in strings:
        core = margin_core(string)
        if core is None:
            highest[string.key] = None
            continue
        shape = "round" if string.kind == "plain" else string.core_shape
        top = float(highest_frequency(core, string.scale_length, mass_per_length(string), fraction, shape))
        highest[string.key] = top
        bounds.append((1200.0 * math.log2(top / string.frequency), string.name))
    if pull_limit is not None:
        total = sum(pull(string) for string in strings)
        limit = float(positive(pull_limit, "pull_limit", "N"))
        bounds.append((600.0 * math.log2(limit / total), "pull limit"))
    shift, name = min(bounds, default=(None, None), key=lambda bound: bound[0])
    return SafeTuning(shift, name, highest)


def gauge_for_pull(string: FittedString, tension: float, stock: Sequence[float] | None = None) -> float:
    """Which gauge gives a tension at this string's pitch.

    Parameters
    ----------
    string : FittedString
        The string; its own gauge is not used. A wound one needs core and wrap material.
    tension : float
        Wanted pull [N].
    stock : sequence of float, optional
        Gauges at hand; the nearest in mass per length is chosen among them [mm].

    Returns
    -------
    float
        Outside diameter [mm].

    Raises
    ------
    Missing
        When a wound string's core or wrap material is not given.
    OutOfRange
        When a value lies outside its range, or the core alone is too heavy.

    Notes
    -----
    mu = T/(2·X·f)², then the inverse of the plain or wound mass per length.

    >>> round(gauge_for_pull(FittedString(1, 329.6276, 647.7), 72.524), 4)
    0.254
    """
    speed = 2e-3 * string.scale_length * string.frequency
    mass = 1e3 * float(within(tension, "tension", 0.01, 2000.0, "N")) / speed**2
    density = MATERIALS[_material(string.material, "material")].density
    if string.kind == "plain":
        gauge = float(plain_diameter(mass, density))
    else:
        if string.core is None or string.wrap_material is None:
            raise Missing(f"{string.name} is wound: it needs core and wrap_material", "core")
        wrap_density = MATERIALS[_material(string.wrap_material, "wrap_material")].density
        wrap = float(wrap_for(mass, string.core, density, wrap_density, string.core_shape))
        width = string.core if string.core_shape == "round" else 2.0 * string.core / math.sqrt(3.0)
        gauge = width + 2.0 * wrap
    if stock is None:
        return gauge
    if len(stock) == 0:
        raise Missing("stock must hold at least one gauge", "stock")
    at_hand = [float(each) for each in within(stock, "stock", 0.05, 6.0, "mm")]
    masses = [mass_per_length(replace(string, gauge=each, linear_density=None)) for each in at_hand]
    return at_hand[int(np.argmin(np.abs(np.array(masses) - mass)))]
