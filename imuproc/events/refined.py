"""Touchdown and toe-off to a few milliseconds: every mark of them weighed as evidence.

Each event has several marks with different physics: what the foot's own motion says
(:mod:`imuproc.events.landing`, :mod:`imuproc.events.leaving`), and what stands in the raw signals
of foot and shank (:mod:`imuproc.events.marks`). A mark lags its event by a time that is stated
with its standard uncertainty; the event is their mean by inverse variances, in which a mark that
lies far from the rest loses its weight (:mod:`imuproc.events.fusion`).

Lags and uncertainties were read off 11 runners with a force plate at 2.5 to 4.5 m/s, all strike
types (Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298; the lag of its markers, 6.7 ms, taken off) and
three clips of two runners at 4.4 to 6.7 m/s overground (Goncalves et al. 2021, J Sci Med Sport
24:939); 20 N above local zero, sensors made up, mid grade, 500 Hz. Nothing was read off simulated
runs. What these laboratories differ by stands in ``reference``, the part of the uncertainty that a
set-up shares: few sets, so the largest leave-one-out error of a set was taken for it, not the
spread within one.
"""

from dataclasses import asdict, dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.history import HistoryEntry
from imuproc.core.motion import Motion, SegmentMotion
from imuproc.core.sites import SIDES, Side, foot_of
from imuproc.events.foot_points import FootGeometry, FootPoints, foot_points, running_speed
from imuproc.events.fusion import Fused, fused
from imuproc.events.landing import MOST_CANDIDATES, Landing, LandingSettings, landing_of
from imuproc.events.leaving import Leaving, LeavingSettings, leaving_of, roll_ahead_m

FloatArray = NDArray[np.float64]

_BALLS = tuple(
    f"{name}_{k}"
    for k in range(MOST_CANDIDATES)
    for name in ("ball_s", "hardness", "fall_mps", "stop_s")
)
_COLUMNS = (
    *_BALLS,
    "heel_s",
    "heel_weight",
    "heel_down_s",
    "toe_s",
    "toe_growth_mps2",
    "lift_s",
    "lift_mps",
    "running_speed_mps",
    "slowing_mps",
)


@dataclass(frozen=True)
class TouchdownSettings:
    """Marks of touchdown: lags in s, standard uncertainties in s.

    Parameters
    ----------
    strike_u_s : tuple of float
        Arrest of the ball and of the heel.
    stop_u_share : float
        Part of the arrest's duration that adds to it.
    give_u_m : float
        Way that the ball may go on after contact before it is stopped; over its fall it adds to it.
    choice_u_share : float
        Part of the spread of the foot's candidates (stops of the ball; ball or heel) that adds to
        it, where the other marks do not decide between them.
    shock_lag_s, shock_u_s : float
        First rise of a shock: sole, shoe and skin delay it by some ms (judgement).
    shock_blunt_u_s : float
        What adds to that, over the square of how far the shock stands out.
    shock_clear : float
        Where it stands out this far the foot has surely landed: ringing can only delay its arrest.
    shock_rate_hz : float
        Sampling rate below which the band of a shock is cut; its uncertainty grows with the square
        of the sampling interval there.
    axial_lag_s, axial_u_s : float
        Loading of the shank.
    jerk_lag_s, jerk_u_s : float
        Half rise of the jerk of the foot.
    rate_u, unresolved_rate_u : float
        What coarse sampling adds, in sampling intervals: times sampling interval over duration of
        the arrest; and for a shock that stands out but whose band is cut (times the share that is).
    reference_u_s : float
        What data sets differ by.
    """

    strike_u_s: tuple[float, float] = (0.0018, 0.0025)
    stop_u_share: float = 0.1
    give_u_m: float = 0.0025
    choice_u_share: float = 1.0
    shock_lag_s: float = 0.0
    shock_u_s: float = 0.0035
    shock_blunt_u_s: float = 0.3
    shock_clear: float = 10.0
    shock_rate_hz: float = 375.0
    axial_lag_s: float = 0.009
    axial_u_s: float = 0.008
    jerk_lag_s: float = -0.002
    jerk_u_s: float = 0.009
    rate_u: float = 0.6
    unresolved_rate_u: float = 1.5
    reference_u_s: float = 0.004


@dataclass(frozen=True)
class ToeOffSettings:
    """Marks of toe-off: lags in s, standard uncertainties in s.

    Parameters
    ----------
    toe_u_s, toe_u_mps : float
        Rise of the toes: a constant, and an error of their speed over how fast it grows.
    lift_u_s, lift_u_m : float
        Lift of the ball: a constant, and an error of the height over how fast it rises.
    shank_lag_s, shank_u_s : float
        Knee's extension ends and the shank folds back (half fall of its rate).
    shank_changing_u : float
        What adds to that where speed changes, in s per m/s from stride to stride (no data cover
        it; judgement).
    push_lag_s, push_u_s : float
        Steepest fall of the force off the sole.
    push_sprint_u_s : float
        What adds to that in sprints: a leg that swings so fast pulls the foot up without a gap.
    sprint_cycle_s, sprint_ramp_s : float
        Where slowed swing and next swing are closer than this, over which range that sets in.
    slowing_u_share : float
        Part of what speed changes from stride to stride, over the growth of the toes' speed, that
        adds to the rise of the toes.
    correlation : float
        Between the errors of any two marks.
    rate_u : float
        What coarse sampling adds, in sampling intervals.
    reference_u_s : float
        What data sets differ by.
    """

    toe_u_s: float = 0.002
    toe_u_mps: float = 0.07
    lift_u_s: float = 0.006
    lift_u_m: float = 0.01
    shank_lag_s: float = 0.0095
    shank_u_s: float = 0.005
    shank_changing_u: float = 0.010
    push_lag_s: float = -0.0065
    push_u_s: float = 0.007
    push_sprint_u_s: float = 0.015
    sprint_cycle_s: float = 0.40
    sprint_ramp_s: float = 0.08
    slowing_u_share: float = 0.1
    correlation: float = 0.4
    rate_u: float = 0.2
    reference_u_s: float = 0.0045


@dataclass(frozen=True)
class RefineSettings:
    """How marks become events.

    Parameters
    ----------
    geometry : FootGeometry
    landing : LandingSettings
    leaving : LeavingSettings
    touchdown : TouchdownSettings
    toe_off : ToeOffSettings
    lost_pitch_deg : float
        Standard uncertainty of foot pitch above which the foot's motion tells nothing of its
        events: as much as costs a sensor its orientation where a gap hides it.
    """

    geometry: FootGeometry = field(default_factory=FootGeometry)
    landing: LandingSettings = field(default_factory=LandingSettings)
    leaving: LeavingSettings = field(default_factory=LeavingSettings)
    touchdown: TouchdownSettings = field(default_factory=TouchdownSettings)
    toe_off: ToeOffSettings = field(default_factory=ToeOffSettings)
    lost_pitch_deg: float = 20.0


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
        their coarse events. Uncertainties are those between the contacts of one athlete in one
        set-up; what all of them share is ``touchdown_reference_u_s`` and ``toe_off_reference_u_s``
        in the evidence. Evidence added, too: every mark (``ball_s_0`` and so on, the stops of the
        ball in order, with ``hardness``, ``fall_mps`` and ``stop_s``; ``heel_s``, ``toe_s``,
        ``lift_s``), ``heel_weight`` (1 heel first, 0 ball first), ``strike_s`` (what was taken of
        ball and heel), ``strike_in_doubt_s``, ``running_speed_mps``, ``slowing_mps`` (change of
        that from stride to stride), the weights of the marks (``strike_share``, ``shock_share``,
        ``axial_share``, ``jerk_share``; ``toe_share``, ``lift_share``, ``shank_share``,
        ``push_share``), ``touchdown_apart_s`` and ``toe_off_apart_s`` (disagreement of the marks
        beyond their uncertainties), ``touchdown_rate_u_s`` and ``toe_off_rate_u_s`` (the part that
        sampling adds).
    """
    columns = {name: np.full(len(contacts), np.nan) for name in _COLUMNS}
    for side in SIDES:
        foot = motion.segments.get(foot_of(side))
        rows = np.flatnonzero(contacts.side == side)
        if foot is None or len(rows) == 0:
            continue
        found = _foot_marks(contacts, rows, (motion.time_s, foot, side), settings)
        for name, values in found.items():
            columns[name][rows] = values
    return _with_events(contacts, motion, columns, settings)


def _foot_marks(
    contacts: Contacts,
    rows: NDArray[np.intp],
    moves: tuple[FloatArray, SegmentMotion, Side],
    settings: RefineSettings,
) -> dict[str, FloatArray]:
    """The marks of one foot's contacts, in the order of the columns."""
    time_s, foot, side = moves
    own = contacts.take(rows)
    spans = np.stack((own.touchdown_s, own.toe_off_s), axis=1)
    leaving = settings.leaving
    roll_m = float(np.nan_to_num(roll_ahead_m(time_s, foot, spans, leaving)))
    toe_m = leaving.toe_ahead_m + leaving.toe_per_roll * roll_m
    points = foot_points(time_s, foot, side, (toe_m, 0.0, leaving.toe_up_m), settings.geometry)
    speed = running_speed(time_s, foot, own)
    slowing = np.abs(np.gradient(speed)) if len(rows) > 1 else np.zeros(len(rows))
    middle_s = spans.mean(axis=1)
    pitch_u = np.degrees(np.interp(middle_s, time_s, np.nan_to_num(foot.pitch_u_rad)))
    marks = np.full((len(rows), len(_COLUMNS)), np.nan)
    for k in np.flatnonzero(pitch_u < settings.lost_pitch_deg):
        marks[k] = (*_marks(points, spans[k], speed[k], settings), speed[k], slowing[k])
    return dict(zip(_COLUMNS, marks.T, strict=True))


def _marks(
    points: FootPoints, span_s: FloatArray, speed_mps: float, settings: RefineSettings
) -> tuple[float, ...]:
    """The marks of one contact, in the order of the columns."""
    landing = landing_of(points, float(span_s[0]), float(span_s[1]), settings.landing)
    leaving = leaving_of(
        points, float(span_s[0]), float(span_s[1]), float(speed_mps), settings.leaving
    )
    return (
        *_ball_columns(landing),
        landing.heel_s,
        landing.heel_weight,
        landing.heel_down_s,
        *_leaving_columns(leaving),
    )


def _ball_columns(landing: Landing) -> list[float]:
    """What is known of each stop of the ball, the missing ones NaN."""
    stops = (landing.ball_s, landing.hardness, landing.fall_mps, landing.stop_s)
    return [
        values[k] if k < len(values) else np.nan for k in range(MOST_CANDIDATES) for values in stops
    ]


def _leaving_columns(leaving: Leaving) -> tuple[float, float, float, float]:
    return leaving.toe_s, leaving.toe_growth_mps2, leaving.lift_s, leaving.lift_mps


def _with_events(
    contacts: Contacts, motion: Motion, columns: dict[str, FloatArray], settings: RefineSettings
) -> Contacts:
    evidence = {**contacts.evidence, **columns}
    sample_s = float(np.ptp(motion.time_s)) / (len(motion.time_s) - 1)
    down, strike = _touchdowns(evidence, sample_s, settings.touchdown)
    off = _toe_offs(evidence, settings.toe_off)
    found_down, found_off = np.isfinite(strike["strike_s"]), np.isfinite(off.time_s)
    rate_u = _touchdown_rate_u(evidence, strike["stop_s"], sample_s, settings.touchdown)
    off_rate_u = settings.toe_off.rate_u * sample_s * np.ones(len(contacts))
    nothing = np.zeros(len(contacts))
    entry = HistoryEntry(
        "events.refined",
        f"{int(found_down.sum())} touchdowns and {int(found_off.sum())} toe-offs from foot motion.",
        asdict(settings),
    )

    def kept(found: NDArray[np.bool_], new: FloatArray | float, name: str) -> FloatArray:
        return np.where(found, new, contacts.evidence.get(name, nothing))

    own = {
        "strike_s": strike["strike_s"],
        "strike_in_doubt_s": strike["in_doubt_s"],
        **_shares(down, _DOWN_MARKS),
        **_shares(off, _OFF_MARKS),
        "touchdown_apart_s": down.spread_s,
        "toe_off_apart_s": off.spread_s,
        "touchdown_rate_u_s": kept(found_down, rate_u, "touchdown_rate_u_s"),
        "toe_off_rate_u_s": kept(found_off, off_rate_u, "toe_off_rate_u_s"),
        "touchdown_reference_u_s": kept(
            found_down, settings.touchdown.reference_u_s, "touchdown_reference_u_s"
        ),
        "toe_off_reference_u_s": kept(
            found_off, settings.toe_off.reference_u_s, "toe_off_reference_u_s"
        ),
    }
    return replace(
        contacts,
        touchdown_s=np.where(found_down, down.time_s, contacts.touchdown_s),
        toe_off_s=np.where(found_off, off.time_s, contacts.toe_off_s),
        touchdown_u_s=np.where(found_down, np.hypot(down.u_s, rate_u), contacts.touchdown_u_s),
        toe_off_u_s=np.where(found_off, np.hypot(off.u_s, off_rate_u), contacts.toe_off_u_s),
        evidence={**evidence, **own},
        history=(*motion.history, entry),
    )


_DOWN_MARKS = ("strike", "shock", "axial", "jerk")
_OFF_MARKS = ("toe", "lift", "shank", "push")


def _shares(event: Fused, marks: tuple[str, ...]) -> dict[str, FloatArray]:
    return {f"{name}_share": share for name, share in zip(marks, event.share, strict=True)}


def _touchdown_rate_u(
    evidence: dict[str, FloatArray],
    stop_s: FloatArray,
    sample_s: float,
    settings: TouchdownSettings,
) -> FloatArray:
    """What coarse sampling adds: short arrests are hardly seen, and shocks seen but not timed."""
    short_u = settings.rate_u * sample_s**2 / stop_s
    unresolved = max(0.0, 1.0 - 1.0 / (settings.shock_rate_hz * sample_s))
    seen = np.nan_to_num(np.clip((_of(evidence, "shock_ratio") - 2.0) / 3.0, 0.0, 1.0))
    return np.hypot(short_u, settings.unresolved_rate_u * sample_s * unresolved * seen)


def _touchdowns(
    evidence: dict[str, FloatArray], sample_s: float, settings: TouchdownSettings
) -> tuple[Fused, dict[str, FloatArray]]:
    """The foot's own arrest, averaged with the marks of raw signals; and what of it was taken."""
    ratio = np.maximum(np.nan_to_num(_of(evidence, "shock_ratio")), 1.0)
    coarse_u = max(1.0, settings.shock_rate_hz * sample_s) ** 2
    shock_u = np.hypot(settings.shock_u_s * coarse_u, settings.shock_blunt_u_s / ratio**2)
    others_s = np.stack(
        (
            _of(evidence, "shock_s") - settings.shock_lag_s,
            _of(evidence, "axial_rise_s") - settings.axial_lag_s,
            _of(evidence, "jerk_half_s") - settings.jerk_lag_s,
        )
    )
    others_u = np.stack(
        (
            shock_u,
            np.full(len(ratio), settings.axial_u_s),
            np.full(len(ratio), settings.jerk_u_s),
        )
    )
    strike = _strike(evidence, (others_s, others_u), settings)
    # Ringing makes the foot fall once more: a clear shock well before the arrest has the foot down.
    late_s = np.nan_to_num(np.maximum(strike["strike_s"] - others_s[0], 0.0))
    clear = np.clip(2.0 * ratio / settings.shock_clear - 1.0, 0.0, 1.0)
    strike_u = np.hypot(strike["u_s"], clear * late_s)
    return (
        fused(np.vstack((strike["strike_s"], others_s)), np.vstack((strike_u, others_u))),
        strike,
    )


def _strike(
    evidence: dict[str, FloatArray],
    others: tuple[FloatArray, FloatArray],
    settings: TouchdownSettings,
) -> dict[str, FloatArray]:
    """Contact by ball or heel: of the stops of the ball that which the other marks bear out.

    Each stop counts by its hardness and by how far the other marks lie from it, on a scale with
    heavy tails; the spread of what remains possible is the doubt of the choice.
    """
    ball_u, heel_u = settings.strike_u_s
    ball_s, hardness, stop_s, falls_mps = (
        np.stack([evidence[f"{name}_{k}"] for k in range(MOST_CANDIDATES)])
        for name in ("ball_s", "hardness", "stop_s", "fall_mps")
    )
    credit = np.nan_to_num(hardness) * np.prod(
        _agreement(ball_s[:, None] - others[0], np.hypot(ball_u, others[1])), axis=1
    )
    weight = _normalised(credit)
    best = np.argmax(weight, axis=0)[None]
    chosen_s, chosen_stop_s, fall_mps = (
        np.take_along_axis(values, best, axis=0)[0] for values in (ball_s, stop_s, falls_mps)
    )
    away_s = np.nan_to_num(ball_s - chosen_s)
    doubt_s = np.sqrt(np.sum(weight * away_s**2, axis=0))
    heel = np.nan_to_num(evidence["heel_weight"])
    heel_s = np.where(heel > 0.0, evidence["heel_s"], chosen_s)
    between_s = np.sqrt(heel * (1.0 - heel)) * np.abs(heel_s - chosen_s)
    soft_s = np.nan_to_num(np.maximum(chosen_s - evidence["heel_down_s"], 0.0))
    doubt_s = np.hypot((1.0 - heel) * np.hypot(doubt_s, 0.5 * soft_s), 0.5 * between_s)
    own_u = ball_u + (heel_u - ball_u) * heel
    own_u = np.hypot(own_u, settings.stop_u_share * chosen_stop_s)
    own_u = np.hypot(own_u, (1.0 - heel) * settings.give_u_m / fall_mps)
    return {
        "strike_s": heel * heel_s + (1.0 - heel) * chosen_s,
        "u_s": np.hypot(own_u, settings.choice_u_share * doubt_s),
        "in_doubt_s": doubt_s,
        "stop_s": chosen_stop_s,
    }


def _agreement(apart_s: FloatArray, u_s: FloatArray) -> FloatArray:
    """Likelihood of a distance, at most 1, with heavy tails (t with 3 degrees of freedom).

    A mark that is missing says nothing; one that is far off says little.
    """
    near = (1.0 + (apart_s / u_s) ** 2 / 3.0) ** -2
    return np.where(np.isfinite(near), np.maximum(near, 1e-3), 1.0)


def _normalised(weight: FloatArray) -> FloatArray:
    total = weight.sum(axis=0)
    return np.asarray(np.divide(weight, total, out=np.zeros_like(weight), where=total > 0.0))


def _toe_offs(evidence: dict[str, FloatArray], settings: ToeOffSettings) -> Fused:
    """The rise of the toes, the lift of the ball, the shank folding back and the fall of force."""
    speed_u = np.hypot(settings.toe_u_mps, settings.slowing_u_share * evidence["slowing_mps"])
    toe_u = np.hypot(settings.toe_u_s, speed_u / evidence["toe_growth_mps2"])
    lift_u = np.hypot(settings.lift_u_s, settings.lift_u_m / evidence["lift_mps"])
    short_s = settings.sprint_cycle_s - _of(evidence, "cycle_s")
    sprint = np.clip(short_s / settings.sprint_ramp_s, 0.0, 1.0)
    push_u = np.hypot(settings.push_u_s, settings.push_sprint_u_s * sprint)
    shank_u = np.hypot(settings.shank_u_s, settings.shank_changing_u * evidence["slowing_mps"])
    marks = (
        evidence["toe_s"],
        evidence["lift_s"],
        _of(evidence, "shank_off_s") - settings.shank_lag_s,
        _of(evidence, "push_off_s") - settings.push_lag_s,
    )
    # Without the foot's own marks the coarse event stays.
    known = np.isfinite(marks[0]) | np.isfinite(marks[1])
    return fused(
        np.where(known, np.stack(marks), np.nan),
        np.stack((toe_u, lift_u, shank_u, push_u)),
        settings.correlation,
    )


def _of(evidence: dict[str, FloatArray], name: str) -> FloatArray:
    """A mark from the evidence; NaN where it was not looked for."""
    return evidence.get(name, np.full(len(evidence["toe_s"]), np.nan))
