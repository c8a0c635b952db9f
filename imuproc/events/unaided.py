"""Touchdown and toe-off from marks in the signals themselves: where the foot's own motion is not
known (a shank alone, or no quiet standing at all), and as a first guess everywhere.

Lags and spreads were read off 11 runners with a force plate at 2.5 to 4.5 m/s, both legs, all
strike types (Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298; 20 N above local zero, the lag of its
markers taken off), and two runners overground at 4.4 to 6.7 m/s (Goncalves et al. 2021, J Sci Med
Sport 24:939). No open data with both sensors and force covers sprinting: there the uncertainty is
widened by what the same marks did in simulated sprints.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from imuproc.core.contacts import Contacts
from imuproc.core.sites import SIDES
from imuproc.events.foot_points import FORCE_PLATES
from imuproc.events.fusion import FusionSettings, fuse_marks
from imuproc.files.settings_model import StageSettings, number

FloatArray = NDArray[np.float64]

_SIMULATED = "what the same marks did in simulated sprints: no open data with force cover sprinting"


class UnaidedSettings(StageSettings):
    """Which mark counts, by how much it lags the event, and its standard uncertainty."""

    basis = FORCE_PLATES
    sharp_impact_ratio: float = number(
        2.8, (1.0, 100.0), "An impact that is sharper marks touchdown by itself."
    )
    sharp_blend: float = number(0.1, (0.001, 10.0), "How gradually it does.", unit="")
    loading_lead_share: float = number(
        0.085,
        (0.0, 1.0),
        "How far the loading of the shank may lead the impact, as a share of the time from slowed "
        "swing to next swing.",
    )
    lead_blend: float = number(
        0.005, (0.0001, 1.0), "How gradually what comes earlier is taken for swing.", unit=""
    )
    impact_lag_s: float = number(
        -0.001, (-0.1, 0.1), "Lag of a sharp impact: half rise of its jerk."
    )
    impact_u_s: float = number(0.005, (0.0, 0.1), "Its standard uncertainty.")
    axial_lag_s: float = number(0.0095, (-0.1, 0.1), "Lag of the loading of the shank.")
    axial_u_s: float = number(0.006, (0.0, 0.1), "Its standard uncertainty.")
    jerk_lag_s: float = number(
        -0.012,
        (-0.1, 0.1),
        "Lag of the onset of the jerk where the impact is not sharp and there is no shank sensor.",
    )
    jerk_u_s: float = number(0.008, (0.0, 0.1), "Its standard uncertainty.")
    shock_lag_s: float = number(0.0, (-0.1, 0.1), "Lag of the first rise of the shock.")
    shock_u_s: float = number(0.0025, (0.0001, 0.1), "Its standard uncertainty.")
    shock_blunt_u_s: float = number(
        0.06, (0.0, 5.0), "What adds to that, over how far the shock stands out."
    )
    shock_least: float = number(
        3.0, (1.1, 100.0), "How far a shock must stand out of the quiet before it.", unit=""
    )
    push_agree_s: float = number(
        0.045,
        (0.0, 0.5),
        "How near the fall of the force off the sole must lie to what the rates say.",
    )
    push_lag_s: float = number(-0.006, (-0.1, 0.1), "Lag of the fall of the force off the sole.")
    push_u_s: float = number(0.006, (0.0, 0.1), "Its standard uncertainty.")
    shank_lag_s: float = number(0.0115, (-0.1, 0.1), "Lag of the shank's folding back.")
    shank_u_s: float = number(0.005, (0.0, 0.1), "Its standard uncertainty.")
    turn_lag_share: float = number(
        -0.12,
        (-1.0, 1.0),
        "Lag of the fastest turn of the foot in its push, as a share of the time since touchdown.",
    )
    turn_u_s: float = number(0.010, (0.0, 0.1), "Its standard uncertainty.")
    slow_contact_s: float = number(
        0.22, (0.0, 5.0), "Runners differ more in contacts that are longer than this."
    )
    slow_off_u_share: float = number(
        0.04,
        (0.0, 5.0),
        "Part of the contact time above that which adds to the uncertainty of toe-off.",
    )
    changing_off_u_share: float = number(
        0.15,
        (0.0, 5.0),
        "Where the cycle changes from stride to stride the shank folds back earlier or later "
        "against toe-off: this share of the change adds to the uncertainty of toe-off.",
        _SIMULATED,
    )
    sprint_rate_u: float = number(
        1.5,
        (0.0, 20.0),
        "What coarse sampling adds to touchdown in sprints and where the cycle changes.",
        _SIMULATED,
        unit="sampling intervals",
    )
    off_rate_u: float = number(
        0.1, (0.0, 20.0), "What coarse sampling adds to toe-off.", unit="sampling intervals"
    )
    sprint_cycle_s: float = number(
        0.34,
        (0.05, 2.0),
        "Where slowed swing and next swing are closer than this, uncertainties are widened.",
        _SIMULATED,
    )
    sprint_ramp_s: float = number(0.06, (0.001, 1.0), "Over which range that sets in.", _SIMULATED)
    sprint_impact_u_s: float = number(0.006, (0.0, 0.2), "By how much: impact or jerk.", _SIMULATED)
    sprint_axial_u_s: float = number(
        0.018, (0.0, 0.2), "By how much: loading of the shank.", _SIMULATED
    )
    sprint_off_u_s: float = number(0.008, (0.0, 0.2), "By how much: toe-off.", _SIMULATED)
    reference_u_s: tuple[float, float] = number(
        (0.006, 0.006), (0.0, 0.1), "What data sets differ by, of touchdown and of toe-off."
    )


@dataclass(frozen=True, eq=False)
class MarkedEvents:
    """Events read off marks, shape (m,), in s with standard uncertainties."""

    touchdown_s: FloatArray
    touchdown_u_s: FloatArray
    toe_off_s: FloatArray
    toe_off_u_s: FloatArray


def find_marked_events(
    marks: Mapping[str, FloatArray], settings: UnaidedSettings, fusion: FusionSettings
) -> MarkedEvents:
    """Events from the marks of contacts, their lags taken off.

    Parameters
    ----------
    marks : mapping from str to ndarray, shape (m,)
        Fields of :class:`~imuproc.events.marks.TouchdownMarks` and
        :class:`~imuproc.events.marks.ToeOffMarks`; NaN where there is none.
    settings : UnaidedSettings
    fusion : FusionSettings

    Returns
    -------
    MarkedEvents
    """
    sprint = _measure_sprint(marks, settings)
    down, down_u = _find_touchdowns(marks, sprint, settings, fusion)
    off, off_u = _find_toe_offs(marks, down, settings)
    return MarkedEvents(down, down_u, off, np.hypot(off_u, settings.sprint_off_u_s * sprint))


def _measure_sprint(marks: Mapping[str, FloatArray], settings: UnaidedSettings) -> FloatArray:
    """From 0 where data cover the speed to 1 where only simulated sprints do."""
    short_s = settings.sprint_cycle_s - marks["cycle_s"]
    return np.clip(short_s / settings.sprint_ramp_s, 0.0, 1.0)


def _find_touchdowns(
    marks: Mapping[str, FloatArray],
    sprint: FloatArray,
    settings: UnaidedSettings,
    fusion: FusionSettings,
) -> tuple[FloatArray, FloatArray]:
    """The impact where it is sharp, else the loading of the shank, else the first shake.

    Averaged with the first rise of the shock, which counts as far as it stands out.
    """
    down, down_u = _choose_mark(marks, sprint, settings)
    ratio = np.maximum(marks["shock_ratio"], 1.0)
    shock = marks["shock_s"] - settings.shock_lag_s
    shock_u = np.hypot(settings.shock_u_s, settings.shock_blunt_u_s / ratio)
    shock_u = shock_u / np.clip((ratio - 1.0) / (settings.shock_least - 1.0), 1e-3, 1.0) ** 3
    both = fuse_marks(np.stack((down, shock)), np.stack((down_u, shock_u)), fusion)
    return both.time_s, both.u_s


def _choose_mark(
    marks: Mapping[str, FloatArray], sprint: FloatArray, settings: UnaidedSettings
) -> tuple[FloatArray, FloatArray]:
    """Touchdown by impact or loading; where either may be the one, their distance is the doubt."""
    half, axial = marks["jerk_half_s"], marks["axial_rise_s"]
    impact_u = np.hypot(settings.impact_u_s, settings.sprint_impact_u_s * sprint)
    loaded_u = np.hypot(settings.axial_u_s, settings.sprint_axial_u_s * sprint)
    onset_u = np.hypot(settings.jerk_u_s, settings.sprint_impact_u_s * sprint)
    led = np.isfinite(axial)
    soft = np.where(led, axial - settings.axial_lag_s, marks["jerk_onset_s"] - settings.jerk_lag_s)
    soft_u = np.where(led, loaded_u, onset_u)
    blunt = expit((settings.sharp_impact_ratio - marks["impact_ratio"]) / settings.sharp_blend)
    lead = np.where(led, (half - axial) / marks["cycle_s"], 0.0)
    loading = np.where(led, expit((settings.loading_lead_share - lead) / settings.lead_blend), 1.0)
    weight = blunt * loading
    apart_s = soft - (half - settings.impact_lag_s)
    down = half - settings.impact_lag_s + weight * apart_s
    own_u = impact_u + weight * (soft_u - impact_u)
    return down, np.hypot(own_u, np.sqrt(weight * (1.0 - weight)) * apart_s)


def _find_toe_offs(
    marks: Mapping[str, FloatArray], down: FloatArray, settings: UnaidedSettings
) -> tuple[FloatArray, FloatArray]:
    """The fall of the force where it agrees with the rates, else shank or foot rate."""
    turn = marks["foot_turn_s"]
    shank = marks["shank_off_s"] - settings.shank_lag_s
    led = np.isfinite(shank)
    turned = np.where(led, shank, turn - settings.turn_lag_share * (turn - down))
    turned_u = np.where(led, settings.shank_u_s, settings.turn_u_s)
    push = marks["push_off_s"] - settings.push_lag_s
    agree = np.abs(push - turned) < settings.push_agree_s
    off = np.where(agree, push, turned)
    slow = settings.slow_off_u_share * np.maximum(off - down - settings.slow_contact_s, 0.0)
    return off, np.where(agree, settings.push_u_s, turned_u) + slow


def find_unaided_contacts(
    contacts: Contacts, sample_s: float, settings: UnaidedSettings, fusion: FusionSettings
) -> Contacts:
    """Contacts from their marks: final for legs whose foot's motion is not known.

    Parameters
    ----------
    contacts : Contacts
        Coarse contacts, with their marks in the evidence.
    sample_s : float
        Sampling interval.
    settings : UnaidedSettings
    fusion : FusionSettings

    Returns
    -------
    Contacts
        Evidence added: ``touchdown_rate_u_s``, ``toe_off_rate_u_s`` (the part of the uncertainty
        that sampling adds), ``touchdown_reference_u_s``, ``toe_off_reference_u_s`` (what all
        contacts share) and ``outside_evidence`` (1 where legs swing faster than in the data).
    """
    found = find_marked_events(contacts.evidence, settings, fusion)
    sprint = _measure_sprint(contacts.evidence, settings)
    changing = _measure_changes_s(contacts)
    # Few samples hold a sprinter's impact: at 100 Hz it is seen a sample early or late.
    unlike = np.maximum(sprint, np.clip(changing / settings.sprint_ramp_s, 0.0, 1.0))
    rate_u = settings.sprint_rate_u * sample_s * unlike
    off_rate_u = settings.off_rate_u * sample_s * np.ones(len(contacts))
    down_u = np.hypot(found.touchdown_u_s, rate_u)
    off_u = np.hypot(found.toe_off_u_s, settings.changing_off_u_share * changing)
    off_u = np.hypot(off_u, off_rate_u)
    return replace(
        contacts,
        touchdown_s=found.touchdown_s,
        touchdown_u_s=down_u,
        toe_off_s=found.toe_off_s,
        toe_off_u_s=off_u,
        evidence={
            **contacts.evidence,
            "touchdown_rate_u_s": rate_u,
            "toe_off_rate_u_s": off_rate_u,
            "touchdown_reference_u_s": np.full(len(contacts), settings.reference_u_s[0]),
            "toe_off_reference_u_s": np.full(len(contacts), settings.reference_u_s[1]),
            "outside_evidence": (sprint > 0.0).astype(np.float64),
        },
    )


def _measure_changes_s(contacts: Contacts) -> FloatArray:
    """How much each leg's cycle changes from stride to stride, in s, shape (m,)."""
    changes = np.zeros(len(contacts))
    for side in SIDES:
        rows = np.flatnonzero(contacts.side == side)
        if len(rows) > 1:
            step = np.abs(np.diff(contacts.evidence["cycle_s"][rows]))
            changes[rows] = np.maximum(np.append(step, 0.0), np.append(0.0, step))
    return changes
