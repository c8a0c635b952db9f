"""Touchdown and toe-off to a few milliseconds: the foot's own motion, and marks in raw signals.

Touchdown: the arrest of the point that strikes first (:mod:`imuproc.events.arrest`), averaged with
the first rise of the shock where there is one. Both are seen by the same sensor but in different
bands and for different reasons: a shock rings the sensor, which spoils the arrest and sharpens its
own onset. Toe-off: the ball of the foot leaves the ground 15 to 30 ms before the force ends,
because the foot rolls off over the toes. The force is gone when the line of the sole at the toes
rises faster than a fixed share of the running speed; that is averaged with the steepest fall of the
force off the sole.

Numbers were read off 11 runners with a force plate at 2.5 to 4.5 m/s, both feet, all strike types
(Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298; 20 N above local zero; sensors made up, mid grade,
500 Hz) with no runner left out: touchdown 0.8 ± 2.5 ms, toe-off 0.3 ± 3.6 ms. A fit of the blend of
heel and ball that leaves one runner out each time gives -0.0 ± 2.5 ms; it wants 0.79 of the
arrest's duration where 0.7 is used, which simulated sprints agree with better. Either toe-off mark
alone spreads by a tenth more than their mean.

With a strong shock added touchdown is 1.4 ± 0.9 ms, where the arrest alone reads 6.7 ± 4.9 ms. No
open data has a real shock together with a force plate: added shocks begin at the very touchdown and
all look alike, so that spread flatters. The lag of a shock is that of made-up ones, 3 ms for those
added to real running and 0 for those of simulated sprints, chosen on these same cases; its stated
uncertainty, not that spread, says how well it is known.
"""

from dataclasses import asdict, dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.history import HistoryEntry
from imuproc.core.motion import Motion
from imuproc.core.sites import SIDES, foot_of
from imuproc.dsp.crossings import crossing_times
from imuproc.events.arrest import ArrestSettings, arrest_of
from imuproc.events.foot_points import FootGeometry, FootPoints, foot_points, running_speed
from imuproc.events.fusion import Fused, fused

FloatArray = NDArray[np.float64]

_LONGEST_LANDING_S = 0.1

_COLUMNS = (
    "arrest_touchdown_s",
    "strike_speed_mps",
    "arrest_s",
    "heel_weight",
    "strike_in_doubt_s",
    "toe_rise_s",
    "toe_growth_mps2",
    "running_speed_mps",
    "slowing_mps",
)


@dataclass(frozen=True)
class RefineSettings:
    """Shares and uncertainties of the marks.

    Parameters
    ----------
    geometry : FootGeometry
    arrest : ArrestSettings
    lost_pitch_deg : float
        Standard uncertainty of foot pitch above which the foot's motion tells nothing of its
        events: as much as costs a sensor its orientation where a gap hides it.
    touchdown_u_s : tuple of float
        Standard uncertainty of the arrest with the ball and with the heel first.
    arrest_u_share : float
        Part of the arrest's duration that adds to it.
    in_doubt_u_share : float
        Part of the doubt about which point struck first that adds to it.
    late_u_share, shaken_from, shaken_to : float
        Ringing makes the foot fall once more, so a shock can only delay the arrest: this share of
        the time by which it comes after the shock adds to it, all of that where the shock stands
        out ``shaken_to`` times.
    touchdown_common_u_s : float
        Part that all touchdowns of a foot share.
    shock_lag_s, shock_u_s : float
        First rise of a shock after touchdown, and how much shocks differ in it.
    shock_sprint_lag_s, shock_sprint_u_s : float
        The same in sprints, whose strike is harder (simulated only).
    shock_rate_hz : float
        Sampling rate below which the band of a shock is cut; its uncertainty grows with the square
        of the sampling interval there.
    shock_blunt_u_s : float
        What adds to that for a shock that does not stand out, over how far it does.
    shock_least, shock_near_s : float
        How far a shock must stand out, and how near the arrest it must lie.
    toe_speed_share : float
        Vertical speed of the sole at the toes at the end of force, as a share of running speed.
    toe_off_lag_s : float
        From that mark to the end of force.
    toe_off_u_s, toe_speed_u_share, toe_speed_u_mps, slowing_u_share : float
        Standard uncertainty of toe-off: a constant, and that of the vertical speed at the end of
        force (as a share of running speed: its SD over runners; as a constant; and as a share of
        how much the speed changes from stride to stride), over how fast that speed grows.
    push_lag_s, push_u_s : float
        Steepest fall of the force off the sole.
    push_near_s : tuple of float
        Within what the other mark must lie: twice its own uncertainty, but no less and no more.
    push_sprint_u_s : float
        What adds to its uncertainty in sprints: a leg that swings so fast pulls the foot up without
        a gap after the push.
    sprint_cycle_s, sprint_ramp_s : float
        Where slowed swing and next swing are closer than this no data with a force plate cover the
        speed; over which range that sets in.
    toe_marks_correlation : float
        Between the errors of the two marks.
    touchdown_rate_u, toe_off_rate_u : float
        What coarse sampling adds, in sampling intervals; for touchdown times sampling interval over
        duration of the arrest, for an arrest shorter than that is hardly seen.
    unresolved_rate_u : float
        The same for a shock that stands out but whose band is cut (times the share that is).
    """

    geometry: FootGeometry = field(default_factory=FootGeometry)
    arrest: ArrestSettings = field(default_factory=ArrestSettings)
    lost_pitch_deg: float = 20.0
    touchdown_u_s: tuple[float, float] = (0.002, 0.003)
    arrest_u_share: float = 0.1
    in_doubt_u_share: float = 0.5
    late_u_share: float = 1.0
    shaken_from: float = 4.0
    shaken_to: float = 12.0
    touchdown_common_u_s: float = 0.0015
    shock_lag_s: float = 0.003
    shock_u_s: float = 0.0022
    shock_sprint_lag_s: float = 0.0
    shock_sprint_u_s: float = 0.003
    shock_rate_hz: float = 375.0
    shock_blunt_u_s: float = 0.025
    shock_least: float = 3.0
    shock_near_s: float = 0.025
    toe_speed_share: float = 0.15
    toe_off_lag_s: float = 0.0023
    toe_off_u_s: float = 0.002
    toe_speed_u_share: float = 0.033
    toe_speed_u_mps: float = 0.06
    slowing_u_share: float = 0.1
    push_lag_s: float = 0.001
    push_u_s: float = 0.0035
    push_near_s: tuple[float, float] = (0.012, 0.02)
    push_sprint_u_s: float = 0.015
    sprint_cycle_s: float = 0.40
    sprint_ramp_s: float = 0.08
    toe_marks_correlation: float = 0.55
    touchdown_rate_u: float = 0.6
    unresolved_rate_u: float = 1.5
    toe_off_rate_u: float = 0.2


def refined_contacts(contacts: Contacts, motion: Motion, settings: RefineSettings) -> Contacts:
    """Contacts with touchdown and toe-off from the foot's motion and from marks in raw signals.

    Parameters
    ----------
    contacts : Contacts
        Coarse contacts, with their marks in the evidence.
    motion : Motion
        Solved with them.
    settings : RefineSettings

    Returns
    -------
    Contacts
        Feet without motion, and contacts in which a foot's pitch is lost (clipped gyroscopes), keep
        their coarse events. Evidence added: ``arrest_touchdown_s``,
        ``toe_rise_s`` (the marks from motion), ``strike_speed_mps`` (fall of the ball before
        touchdown), ``arrest_s`` (duration of its arrest), ``heel_weight`` (1 heel first, 0 ball
        first), ``strike_in_doubt_s``, ``running_speed_mps``, ``slowing_mps`` (change of that from
        stride to stride), ``toe_growth_mps2`` (growth of the toes' vertical speed at toe-off),
        ``shock_share`` and ``push_share`` (weights of the marks in raw signals),
        ``touchdown_apart_s`` and ``toe_off_apart_s`` (disagreement of the marks beyond their
        uncertainties), ``touchdown_random_u_s`` (without what all touchdowns share),
        ``touchdown_rate_u_s`` and ``toe_off_rate_u_s`` (the part that sampling adds).
    """
    columns = {name: np.full(len(contacts), np.nan) for name in _COLUMNS}
    for side in SIDES:
        foot = motion.segments.get(foot_of(side))
        rows = np.flatnonzero(contacts.side == side)
        if foot is None or len(rows) == 0:
            continue
        points = foot_points(motion.time_s, foot, side, settings.geometry)
        speed = running_speed(motion.time_s, foot, contacts.take(rows))
        changes = np.abs(np.gradient(speed)) if len(rows) > 1 else np.zeros(len(rows))
        middle_s = 0.5 * (contacts.touchdown_s + contacts.toe_off_s)[rows]
        pitch_u = np.degrees(np.interp(middle_s, motion.time_s, np.nan_to_num(foot.pitch_u_rad)))
        known = pitch_u < settings.lost_pitch_deg
        for row, v, change in zip(rows[known], speed[known], changes[known], strict=True):
            found = _marks(points, contacts.touchdown_s[row], contacts.toe_off_s[row], v, settings)
            for name, value in zip(_COLUMNS, (*found, v, change), strict=True):
                columns[name][row] = value
    return _with_events(contacts, motion, columns, settings)


def _marks(
    points: FootPoints,
    coarse_s: float,
    toe_off_s: float,
    speed_mps: float,
    settings: RefineSettings,
) -> tuple[float, ...]:
    """The marks of one contact, in the order of the columns."""
    arrest = arrest_of(points, coarse_s, toe_off_s, settings.arrest)
    rise = _toe_off(points, arrest.time_s, toe_off_s, speed_mps, settings)
    return (
        arrest.time_s,
        arrest.fall_mps,
        arrest.arrest_s,
        arrest.heel_weight,
        arrest.in_doubt_s,
        *rise,
    )


def _with_events(
    contacts: Contacts, motion: Motion, columns: dict[str, FloatArray], settings: RefineSettings
) -> Contacts:
    evidence = {**contacts.evidence, **columns}
    sample_s = float(np.ptp(motion.time_s)) / (len(motion.time_s) - 1)
    down, off = _touchdowns(evidence, sample_s, settings), _toe_offs(evidence, settings)
    found_down, found_off = np.isfinite(down.time_s), np.isfinite(off.time_s)
    rate_u = _touchdown_rate_u(evidence, sample_s, settings)
    off_rate_u = settings.toe_off_rate_u * sample_s * np.ones(len(contacts))
    random_u = np.where(found_down, np.hypot(down.u_s, rate_u), contacts.touchdown_u_s)
    off_u = np.hypot(off.u_s, off_rate_u)
    nothing = np.zeros(len(contacts))
    entry = HistoryEntry(
        "events.refined",
        f"{int(found_down.sum())} touchdowns and {int(found_off.sum())} toe-offs from foot motion.",
        asdict(settings),
    )
    own = {
        "shock_share": down.share[1],
        "push_share": off.share[1],
        "touchdown_apart_s": down.spread_s,
        "toe_off_apart_s": off.spread_s,
        "touchdown_random_u_s": random_u,
        "touchdown_rate_u_s": np.where(
            found_down, rate_u, contacts.evidence.get("touchdown_rate_u_s", nothing)
        ),
        "toe_off_rate_u_s": np.where(
            found_off, off_rate_u, contacts.evidence.get("toe_off_rate_u_s", nothing)
        ),
    }
    down_u = np.hypot(random_u, settings.touchdown_common_u_s)
    return replace(
        contacts,
        touchdown_s=np.where(found_down, down.time_s, contacts.touchdown_s),
        toe_off_s=np.where(found_off, off.time_s, contacts.toe_off_s),
        touchdown_u_s=np.where(found_down, down_u, contacts.touchdown_u_s),
        toe_off_u_s=np.where(found_off, off_u, contacts.toe_off_u_s),
        evidence={**evidence, **own},
        history=(*motion.history, entry),
    )


def _touchdown_rate_u(
    evidence: dict[str, FloatArray], sample_s: float, settings: RefineSettings
) -> FloatArray:
    """What coarse sampling adds: short arrests are hardly seen, and shocks seen but not timed."""
    short_u = settings.touchdown_rate_u * sample_s**2 / evidence["arrest_s"]
    unresolved = max(0.0, 1.0 - 1.0 / (settings.shock_rate_hz * sample_s))
    seen = np.nan_to_num(np.clip((_of(evidence, "shock_ratio") - 2.0) / 3.0, 0.0, 1.0))
    return np.hypot(short_u, settings.unresolved_rate_u * sample_s * unresolved * seen)


def _touchdowns(
    evidence: dict[str, FloatArray], sample_s: float, settings: RefineSettings
) -> Fused:
    """The arrest, averaged with the shock where there is one near it."""
    arrest_s, ratio = evidence["arrest_touchdown_s"], _of(evidence, "shock_ratio")
    ball_u, heel_u = settings.touchdown_u_s
    arrest_u = ball_u + (heel_u - ball_u) * evidence["heel_weight"]
    arrest_u = np.hypot(arrest_u, settings.arrest_u_share * evidence["arrest_s"])
    arrest_u = np.hypot(arrest_u, settings.in_doubt_u_share * evidence["strike_in_doubt_s"])
    shaken = (ratio - settings.shaken_from) / (settings.shaken_to - settings.shaken_from)
    sprint = np.nan_to_num(_sprint(evidence, settings))
    lag_s = settings.shock_lag_s + sprint * (settings.shock_sprint_lag_s - settings.shock_lag_s)
    own_u = settings.shock_u_s + sprint * (settings.shock_sprint_u_s - settings.shock_u_s)
    shock_s = _of(evidence, "shock_s") - lag_s
    shock_u = np.hypot(
        own_u * max(1.0, settings.shock_rate_hz * sample_s) ** 2,
        settings.shock_blunt_u_s / np.maximum(ratio, 1.0),
    )
    late_s = np.clip(shaken, 0.0, 1.0) * np.maximum(arrest_s - shock_s, 0.0)
    near = np.abs(shock_s - arrest_s) < settings.shock_near_s
    shock_s = np.where(near & (ratio > settings.shock_least), shock_s, np.nan)
    # A clear shock well before the arrest: the foot may have landed then, by another point of it.
    landed_s = np.where((ratio > settings.shock_least) & (late_s < _LONGEST_LANDING_S), late_s, 0.0)
    share = np.where(near, settings.late_u_share, 0.5)
    arrest_u = np.hypot(arrest_u, share * np.nan_to_num(landed_s))
    return fused(np.stack((arrest_s, shock_s)), np.stack((arrest_u, shock_u)))


def _toe_offs(evidence: dict[str, FloatArray], settings: RefineSettings) -> Fused:
    """The rise of the toes, averaged with the fall of the force where it lies near."""
    rise_s = evidence["toe_rise_s"]
    speed_u = np.hypot(
        settings.toe_speed_u_share * evidence["running_speed_mps"], settings.toe_speed_u_mps
    )
    speed_u = np.hypot(speed_u, settings.slowing_u_share * evidence["slowing_mps"])
    rise_u = np.hypot(settings.toe_off_u_s, speed_u / evidence["toe_growth_mps2"])
    push_s = _of(evidence, "push_off_s") - settings.push_lag_s
    near_s = np.clip(2.0 * rise_u, *settings.push_near_s)
    push_s = np.where(np.abs(push_s - rise_s) < near_s, push_s, np.nan)
    push_u = np.hypot(settings.push_u_s, settings.push_sprint_u_s * _sprint(evidence, settings))
    return fused(
        np.stack((rise_s, push_s)), np.stack((rise_u, push_u)), settings.toe_marks_correlation
    )


def _sprint(evidence: dict[str, FloatArray], settings: RefineSettings) -> FloatArray:
    """From 0 where data with a force plate cover the speed to 1 where only simulations do."""
    short_s = settings.sprint_cycle_s - _of(evidence, "cycle_s")
    return np.clip(short_s / settings.sprint_ramp_s, 0.0, 1.0)


def _of(evidence: dict[str, FloatArray], name: str) -> FloatArray:
    """A mark from the evidence; NaN where it was not looked for."""
    return evidence.get(name, np.full(len(evidence["arrest_touchdown_s"]), np.nan))


def _toe_off(
    points: FootPoints,
    touchdown_s: float,
    coarse_s: float,
    speed_mps: float,
    settings: RefineSettings,
) -> tuple[float, float]:
    """Instant at which the toes rise faster than their share of running speed, and their growth.

    Sought from mid-stance on to well after any toe-off: the first such rise after the line of the
    sole points most into the ground, which is just before it leaves. The share differs between
    runners, and at low speed the toes may rest at about that speed for some 30 ms: the instant is
    the mean over the share and one standard deviation to both sides, and the growth in m/s² is
    what takes the toes across them (propagation of a distribution, JCGM 101:2008).
    """
    low, high = np.searchsorted(
        points.time_s, [touchdown_s + 0.4 * (coarse_s - touchdown_s), coarse_s + 0.1]
    )
    if not (high - low > 3 and np.isfinite(speed_mps)):
        return np.nan, np.nan
    fastest = int(low + np.argmax(points.toe_mps[low:high]))
    deepest = int(low + np.argmin(points.toe_mps[low : fastest + 1]))
    early = slice(deepest, fastest + 1)
    doubt = float(np.hypot(settings.toe_speed_u_share * speed_mps, settings.toe_speed_u_mps))
    rises = []
    for level in settings.toe_speed_share * speed_mps + doubt * np.array([-1.0, 0.0, 1.0]):
        found = crossing_times(points.time_s[early], points.toe_mps[early], level, "rising")
        rises.append(found[0] if len(found) else np.nan)
    if np.isnan(rises[1]):
        return np.nan, np.nan
    ends = points.time_s[[deepest, deepest, fastest]]
    before, at, after = np.where(np.isnan(rises), ends, rises)
    growth = 2.0 * doubt / max(after - before, 1.0 / points.rate_hz)
    return float(np.mean((before, at, after)) + settings.toe_off_lag_s), growth
