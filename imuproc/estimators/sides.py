"""Do the logs sit where they say? The way a leg moves tells.

Left or right: a running foot lands on its outer edge and then rolls inward (eversion). In the 33
trials of 11 runners at 2.5 to 4.5 m/s (Fukuchi et al. 2017, open data) the mean roll of both feet
within 70 ms was 6.4 to 26.5 deg; with the logs of the legs exchanged, so that toe-out has the wrong
sign too, it was +0.2 to -22 deg. Out of a start and at full speed feet that are in their place roll
less. So legs are told to be exchanged only where both feet roll outward, by more than their steps'
scatter leaves open; between that and the usual roll nothing is said.

Shank or foot: an ankle extends faster in push-off than it bends at any time, a foot turns faster
toe down than a shank turns forward, and it turns more over the run; with the logs of shank and foot
exchanged all three are the other way round. One of them alone misses some: in the same trials and
in 12 simulated sprints the skewness of the ankle's rate was -0.81 to -0.06 (-0.13 to 0.76
exchanged), the foot 1.01 to 2.1 times as fast (0.48 to 0.97) and turned 1.01 to 1.27 times as much
(0.83 to 1.00). Each as a share of its usual size, their mean was 0.28 to 1.47, exchanged -1.33 to
-0.26.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.columns import EVENTS, TO_NEXT_STEP
from imuproc.core.contacts import Contacts
from imuproc.core.flag_policy import policy_of
from imuproc.core.flags import RaisedFlag
from imuproc.core.motion import Motion
from imuproc.core.sites import SIDES, Site, foot_of, shank_of
from imuproc.dsp.filters import low_pass
from imuproc.dsp.rotations import quat_rotate
from imuproc.estimators.quantities import Quantity
from imuproc.files.settings_model import FUKUCHI, JUDGEMENT, PRACTICE, StageSettings, number

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class SideSettings(StageSettings):
    """When logs do not sit where they say."""

    basis = f"chosen on 33 trials of {FUKUCHI}, with logs exchanged and not, and simulated sprints"
    after_s: float = number(
        0.07, (0.005, 0.5), "How long after touchdown the roll of a foot is looked at."
    )
    outward_deg: float = number(
        -1.0,
        (-45.0, 0.0),
        "Legs are told to be exchanged only where both feet roll inward by less than this.",
    )
    fewest_contacts: int = number(
        5, (1, 100), "With fewer contacts of a foot nothing is said.", unit="contacts"
    )
    cutoff_hz: float = number(20.0, (1.0, 100.0), "Low-pass of the rates of shank and foot.")
    usual_skewness: float = number(
        -0.5,
        (-5.0, -0.01),
        "Usual skewness of the ankle's rate in a leg whose logs are in their place.",
        "-0.81 to -0.06 (-0.13 to 0.76 exchanged) in 33 trials and 12 simulated sprints",
        unit="",
    )
    usual_faster_log: float = number(
        0.4,
        (0.01, 5.0),
        "Usual logarithm of how many times as fast the foot turns toe down as the shank forward.",
        "1.01 to 2.1 times (0.48 to 0.97 exchanged) in the same runs",
        unit="",
    )
    usual_more_log: float = number(
        0.13,
        (0.01, 5.0),
        "Usual logarithm of how many times as much the foot turns over the run as the shank.",
        "1.01 to 1.27 times (0.83 to 1.00 exchanged) in the same runs",
        unit="",
    )
    turning_radps: float = number(
        2.0,
        (0.0, 30.0),
        "Both segments of a running leg turn far faster than this; where none does, nothing is "
        "said.",
        PRACTICE,
    )
    vague_s: float = number(
        0.03,
        (0.0, 1.0),
        "What adds to the uncertainty of events of a leg whose shank and foot are exchanged.",
        JUDGEMENT,
    )


def flag_sides(
    motion: Motion,
    contacts: Contacts,
    measured: Mapping[Site, BoolArray],
    settings: SideSettings,
) -> list[RaisedFlag]:
    """Flags where the logs of both legs, or of shank and foot of one leg, look swapped.

    Parameters
    ----------
    motion : Motion
    contacts : Contacts
    measured : mapping from Site to ndarray of bool, shape (n,)
        Where each sensor was; a torn log tells nothing of its place behind the tear.
    settings : SideSettings

    Returns
    -------
    list of RaisedFlag
        ``sides_swapped`` and ``segments_swapped`` with what was measured, or nothing.
    """
    return [
        *_find_swapped_legs(motion, contacts, settings),
        *_find_swapped_segments(motion, contacts, measured, settings),
    ]


def drop_swapped(
    figures: Mapping[str, Quantity],
    contacts: Contacts,
    flags: Iterable[RaisedFlag],
    vague_s: float,
) -> dict[str, Quantity]:
    """Quantities without those that a leg with exchanged shank and foot makes wrong.

    Parameters
    ----------
    figures : mapping from column name to Quantity
    contacts : Contacts
    flags : iterable of RaisedFlag
        As :func:`flag_sides` gives them.
    vague_s : float
        What adds to the uncertainty of events of such a leg.

    Returns
    -------
    dict from column name to Quantity
        Events of such a leg stay, with an uncertainty that says how little they are worth.
    """
    sites = {flag.site for flag in flags if flag.name == "segments_swapped"}
    own = np.isin(contacts.side, [side for side in SIDES if foot_of(side) in sites])
    if not own.any():
        return dict(figures)
    policy = policy_of("segments_swapped")
    gone = dict.fromkeys(policy.of_leg, own)
    gone |= dict.fromkeys(TO_NEXT_STEP, own | _find_next(own))
    gone |= dict.fromkeys(policy.withholds, np.ones(len(own), dtype=bool))
    out = dict(figures)
    for name, rows in gone.items():
        out[name] = replace(out[name], value=np.where(rows, np.nan, out[name].value))
    for name in EVENTS:
        parts = figures[name].parts
        vague = np.where(own, np.hypot(parts["event"], vague_s), parts["event"])
        out[name] = Quantity(figures[name].value, {**parts, "event": vague})
    return out


def _find_next(own: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Steps whose next one is marked."""
    return np.append(own[1:], False)


def _find_swapped_segments(
    motion: Motion,
    contacts: Contacts,
    measured: Mapping[Site, BoolArray],
    settings: SideSettings,
) -> list[RaisedFlag]:
    """Legs whose shank moves as a foot does and whose foot as a shank."""
    flags = []
    rate_hz = (len(motion.time_s) - 1) / (motion.time_s[-1] - motion.time_s[0])
    inside = slice(
        *np.searchsorted(motion.time_s, [contacts.touchdown_s[0], contacts.toe_off_s[-1]])
    )
    for side in SIDES:
        sites = [site for site in (foot_of(side), shank_of(side)) if site in motion.segments]
        if len(sites) < 2 or np.sum(contacts.side == side) < 3:
            continue
        known = np.logical_and.reduce([measured[site][inside] for site in sites])
        foot, shank = (
            low_pass(
                motion.segments[site].pitch_rate_radps[inside],
                min(settings.cutoff_hz, 0.4 * rate_hz),
                rate_hz,
            )[known]
            for site in sites
        )
        if len(foot) == 0:
            continue
        size = float(np.mean(np.abs(foot - shank) ** 3))
        turning_radps = -max(float(shank.min()), float(foot.min()))
        # The same log twice, or no running.
        if size == 0.0 or turning_radps < settings.turning_radps:
            continue
        skewness = float(np.mean((foot - shank) ** 3)) / size
        faster, more = float(foot.min() / shank.min()), float(np.std(foot) / np.std(shank))
        if _measure_placement(skewness, faster, more, settings) < 0.0:
            found = {"side": side, "faster": faster, "more": more}
            flags.append(RaisedFlag("segments_swapped", found, foot_of(side)))
    return flags


def _measure_placement(
    skewness: float, faster: float, more: float, settings: SideSettings
) -> float:
    """How far a leg moves as one whose logs are in their place: 1 as usual, -1 exchanged."""
    shares = (
        skewness / settings.usual_skewness,
        np.log(faster) / settings.usual_faster_log,
        np.log(more) / settings.usual_more_log,
    )
    return float(np.mean(shares))


def _find_swapped_legs(
    motion: Motion, contacts: Contacts, settings: SideSettings
) -> list[RaisedFlag]:
    """A flag where the feet do not roll inward after touchdown."""
    rolls, scatter = [], []
    last = len(motion.time_s) - 1
    for side in SIDES:
        foot = motion.segments.get(foot_of(side))
        down = contacts.touchdown_s[contacts.side == side]
        if foot is None or len(down) < settings.fewest_contacts:
            return []
        before, after = (
            _compute_roll_rad(foot.quat_wxyz[np.searchsorted(motion.time_s, at_s).clip(0, last)])
            for at_s in (down, down + settings.after_s)
        )
        gained = np.degrees(after - before) * (1.0 if side == "left" else -1.0)
        rolls.append(float(np.median(gained)))
        scatter.append(float(np.std(gained)) / np.sqrt(len(down)))
    most_deg = [min(settings.outward_deg, -2.0 * u) for u in scatter]
    if any(roll > most for roll, most in zip(rolls, most_deg, strict=True)):
        return []
    return [RaisedFlag("sides_swapped", {"left_deg": rolls[0], "right_deg": rolls[1]})]


def _compute_roll_rad(quat_wxyz: FloatArray) -> FloatArray:
    """Elevation of a foot's axis to the left, shape (k, 4) to (k,)."""
    across = quat_rotate(quat_wxyz, np.array([0.0, 1.0, 0.0]))[:, 2]
    return np.asarray(np.arcsin(np.clip(across, -1.0, 1.0)))
