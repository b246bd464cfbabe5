"""How relief, and with it action, follows the strings' total pull."""

from __future__ import annotations

from dataclasses import dataclass

from ._checks import finite, positive, within
from .neck import COMPLIANCE_FACTOR, COUPLING_SD, action_forecast, compliance_estimate
from .response import COMPLIANCE_PRIOR, Response


@dataclass(frozen=True)
class NeckReadings:
    """The neck before the restring; heights that were not read are left out.

    Parameters
    ----------
    scale_length : float
        Scale length; of the middle of a multi-scale board [mm].
    body_joint_fret : float
        Fret over the edge of the body [-].
    held : pair of int
        Hold frets of the relief reading [-].
    fret : int
        Fret at which relief is read [-].
    frets : int or None
        Frets of the neck; the upper hold fret where it is not given [-].
    relief, action_bass, action_treble, nut_action_bass, nut_action_treble : float or None
        Newest readings [mm].
    """

    scale_length: float
    body_joint_fret: float
    held: tuple[int, int]
    fret: int
    relief: float | None = None
    action_bass: float | None = None
    action_treble: float | None = None
    nut_action_bass: float | None = None
    nut_action_treble: float | None = None
    frets: int | None = None


@dataclass(frozen=True)
class Spread:
    """A forecast with the range it may take.

    Parameters
    ----------
    value, low, high : float
        Forecast, lower and upper end [mm].
    """

    value: float
    low: float
    high: float


def neck_compliance(neck: NeckReadings | None) -> Response:
    """How far relief follows the total pull, before anything was learned.

    Parameters
    ----------
    neck : NeckReadings or None
        Scale length and hold frets; None = a common neck.

    Returns
    -------
    Response
        Compliance, uncertain by a factor 2 either way [mm/N].

    Raises
    ------
    OutOfRange
        When the geometry lies outside its range.

    Notes
    -----
    Beam estimate of `compliance_estimate`, else 1.1e-3 mm/N (from memory).

    >>> float(f"{neck_compliance(NeckReadings(647.7, 16, (1, 21), 8)).mean:.1g}")
    0.001
    """
    if neck is None:
        return COMPLIANCE_PRIOR
    mean = float(
        compliance_estimate(neck.scale_length, neck.body_joint_fret, neck.held, neck.fret, frets=neck.frets)
    )
    return Response(mean, mean * COMPLIANCE_PRIOR.sd / COMPLIANCE_PRIOR.mean, COMPLIANCE_PRIOR.source)


def relief_change_for(change: float, compliance: Response = COMPLIANCE_PRIOR) -> Spread:
    """Change of relief that a change of total pull brings.

    Parameters
    ----------
    change : float
        Change of total pull; positive = more [N].
    compliance : Response
        How far relief follows it [mm/N].

    Returns
    -------
    Spread
        A stated estimate ranges over a factor 2 either way, a learned one over two standard deviations [mm].

    Raises
    ------
    OutOfRange
        When the change is absurd or the compliance not above zero.

    >>> more = relief_change_for(82.0)
    >>> round(more.value, 3), round(more.low, 3), round(more.high, 3)
    (0.09, 0.045, 0.18)
    """
    pulled = float(within(change, "change", -5000.0, 5000.0, "N"))
    follow = float(positive(compliance.mean, "compliance", "mm/N"))
    if compliance.level == "prior":
        ends = follow / COMPLIANCE_FACTOR * pulled, follow * COMPLIANCE_FACTOR * pulled
    else:
        ends = max(0.0, follow - 2.0 * compliance.sd) * pulled, (follow + 2.0 * compliance.sd) * pulled
    return Spread(follow * pulled, min(ends), max(ends))


def pull_for_relief_change(change: float, compliance: Response = COMPLIANCE_PRIOR) -> float:
    """Change of total pull that would bring a change of relief.

    Parameters
    ----------
    change : float
        Wanted change of relief [mm].
    compliance : Response
        How far relief follows the pull [mm/N].

    Returns
    -------
    float
        Change of total pull [N].

    Raises
    ------
    OutOfRange
        When the change is absurd or the compliance not above zero.

    Notes
    -----
    Inverse of `relief_change_for`.

    >>> round(pull_for_relief_change(0.2, neck_compliance(NeckReadings(647.7, 16, (1, 21), 8))))
    179
    """
    wanted = float(within(change, "change", -5.0, 5.0, "mm"))
    return wanted / float(positive(compliance.mean, "compliance", "mm/N"))


def heights_after(
    neck: NeckReadings | None, more: Spread, coupling_sd: float = COUPLING_SD
) -> dict[str, Spread]:
    """Relief, action and nut action after a change of relief.

    Parameters
    ----------
    neck : NeckReadings or None
        Geometry and readings before.
    more : Spread
        Change of relief [mm].
    coupling_sd : float
        Standard uncertainty of action's coupling to relief [-].

    Returns
    -------
    dict of str to Spread
        `relief`, `action_bass` … as far as they were read before [mm].

    Raises
    ------
    OutOfRange
        When a reading or the geometry lies outside its range.

    Notes
    -----
    Through `action_forecast`; the range of an action joins that of the relief and two standard uncertainties
    of the coupling.
    """
    if neck is None:
        return {}
    heights: dict[str, Spread] = {}
    if neck.relief is not None:
        relief = float(finite(neck.relief, "relief"))
        heights["relief"] = Spread(relief + more.value, relief + more.low, relief + more.high)
    for side, action, nut_action in (
        ("bass", neck.action_bass, neck.nut_action_bass),
        ("treble", neck.action_treble, neck.nut_action_treble),
    ):
        # nut action and action are forecast apart, so the one that was not read does not matter
        moved = action_forecast(
            action if action is not None else 0.0,
            nut_action if nut_action is not None else 0.0,
            [more.value, more.low, more.high],
            scale_length=neck.scale_length,
            body_joint_fret=neck.body_joint_fret,
            held=neck.held,
            fret=neck.fret,
            coupling_sd=coupling_sd,
        )
        if action is not None:
            doubt = 2.0 * float(moved.action_uncertainty[0])
            value, low, high = (float(each) for each in moved.action)
            heights[f"action_{side}"] = Spread(value, min(low, value - doubt), max(high, value + doubt))
        if nut_action is not None:
            value, low, high = (float(each) for each in moved.nut_action)
            heights[f"nut_action_{side}"] = Spread(value, low, high)
    return heights
