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

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.history import HistoryEntry
from imuproc.core.motion import Motion, SegmentMotion
from imuproc.core.sites import SIDES, Side, foot_of
from imuproc.events.foot_points import (
    FORCE_PLATES,
    FootGeometry,
    FootPoints,
    measure_running_speed,
    track_foot_points,
)
from imuproc.events.fusion import Fused, FusionSettings, get_mark
from imuproc.events.landing import MOST_CANDIDATES, Landing, LandingSettings, find_landing
from imuproc.events.leaving import Leaving, LeavingSettings, find_leaving, measure_roll_ahead_m
from imuproc.events.toe_off import TOE_OFF_MARKS, ToeOffSettings, find_toe_offs
from imuproc.events.touchdown import (
    TOUCHDOWN_MARKS,
    Strike,
    TouchdownSettings,
    compute_touchdown_rate_u,
    find_touchdowns,
)
from imuproc.files.settings_model import JUDGEMENT, StageSettings, number, table

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


class CoverageSettings(StageSettings):
    """What the data with force plates cover: beyond it less is known of how feet land and leave."""

    basis = FORCE_PLATES
    slowest_mps: float = number(2.3, (0.0, 20.0), "Least running speed.")
    fastest_mps: float = number(6.8, (0.0, 20.0), "Largest running speed.")
    changing_mps: float = number(0.6, (0.0, 10.0), "Largest change of speed from stride to stride.")
    softest_mps: float = number(0.8, (0.0, 10.0), "Least fall of a ball that strikes first.")
    hardest_mps: float = number(3.0, (0.0, 20.0), "Largest fall of a ball that strikes first.")
    widened: float = number(
        1.15, (1.0, 10.0), "By how much reference is larger beyond that.", JUDGEMENT, unit=""
    )

    ordered = (("slowest_mps", "fastest_mps"), ("softest_mps", "hardest_mps"))


class RefineSettings(StageSettings):
    """How marks become events."""

    lost_pitch_deg: float = number(
        20.0,
        (0.1, 180.0),
        "Standard uncertainty of foot pitch above which the foot's motion tells nothing of its "
        "events: as much as costs a sensor its orientation where a gap hides it.",
    )
    geometry: FootGeometry = table(FootGeometry)
    landing: LandingSettings = table(LandingSettings)
    leaving: LeavingSettings = table(LeavingSettings)
    touchdown: TouchdownSettings = table(TouchdownSettings)
    toe_off: ToeOffSettings = table(ToeOffSettings)
    coverage: CoverageSettings = table(CoverageSettings)


def refine_contacts(
    contacts: Contacts, motion: Motion, settings: RefineSettings, fusion: FusionSettings
) -> Contacts:
    """Contacts with touchdown and toe-off from the foot's motion and from marks in raw signals.

    Parameters
    ----------
    contacts : Contacts
        Coarse contacts, with their marks in the evidence.
    motion : Motion
        Solved with them.
    settings : RefineSettings
    fusion : FusionSettings

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
        beyond their uncertainties), ``outside_evidence`` (1 where the contact is unlike any in data
        with force plates), ``touchdown_rate_u_s`` and ``toe_off_rate_u_s`` (the part that
        sampling adds).

    See Also
    --------
    imuproc.events.coarse.find_coarse_contacts : where to look for them.
    imuproc.stages.detect : the stage that calls both.

    Examples
    --------
    >>> from imuproc import read_session, stages
    >>> (run,) = stages.condition(read_session("data_samples/session.toml").read_run("R07-01"))
    >>> contacts = stages.detect(run)
    >>> length_s = contacts.toe_off_s - contacts.touchdown_s
    >>> bool(((length_s > 0.05) & (length_s < 0.3)).all())
    True
    """
    columns = {name: np.full(len(contacts), np.nan) for name in _COLUMNS}
    for side in SIDES:
        foot = motion.segments.get(foot_of(side))
        rows = np.flatnonzero(contacts.side == side)
        if foot is None or len(rows) == 0:
            continue
        found = _find_foot_marks(contacts, rows, (motion.time_s, foot, side), settings)
        for name, values in found.items():
            columns[name][rows] = values
    return _set_events(contacts, motion, columns, settings, fusion)


def _find_foot_marks(
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
    roll_m = float(np.nan_to_num(measure_roll_ahead_m(time_s, foot, spans, leaving)))
    toe_m = leaving.toe_ahead_m + leaving.toe_per_roll * roll_m
    points = track_foot_points(
        time_s, foot, side, (toe_m, 0.0, leaving.toe_up_m), settings.geometry
    )
    speed = measure_running_speed(time_s, foot, own)
    slowing = np.abs(np.gradient(speed)) if len(rows) > 1 else np.zeros(len(rows))
    middle_s = spans.mean(axis=1)
    pitch_u = np.degrees(np.interp(middle_s, time_s, np.nan_to_num(foot.pitch_u_rad)))
    marks = np.full((len(rows), len(_COLUMNS)), np.nan)
    for k in np.flatnonzero(pitch_u < settings.lost_pitch_deg):
        marks[k] = (*_find_marks(points, spans[k], speed[k], settings), speed[k], slowing[k])
    return dict(zip(_COLUMNS, marks.T, strict=True))


def _find_marks(
    points: FootPoints, span_s: FloatArray, speed_mps: float, settings: RefineSettings
) -> tuple[float, ...]:
    """The marks of one contact, in the order of the columns."""
    landing = find_landing(points, float(span_s[0]), float(span_s[1]), settings.landing)
    leaving = find_leaving(
        points, float(span_s[0]), float(span_s[1]), float(speed_mps), settings.leaving
    )
    return (
        *_tabulate_stops(landing),
        landing.heel_s,
        landing.heel_weight,
        landing.heel_down_s,
        *_tabulate_leaving(leaving),
    )


def _tabulate_stops(landing: Landing) -> list[float]:
    """What is known of each stop of the ball, the missing ones NaN."""
    stops = (landing.ball_s, landing.hardness, landing.fall_mps, landing.stop_s)
    return [
        values[k] if k < len(values) else np.nan for k in range(MOST_CANDIDATES) for values in stops
    ]


def _tabulate_leaving(leaving: Leaving) -> tuple[float, float, float, float]:
    return leaving.toe_s, leaving.toe_growth_mps2, leaving.lift_s, leaving.lift_mps


def _set_events(
    contacts: Contacts,
    motion: Motion,
    columns: dict[str, FloatArray],
    settings: RefineSettings,
    fusion: FusionSettings,
) -> Contacts:
    evidence = {**contacts.evidence, **columns}
    sample_s = float(np.ptp(motion.time_s)) / (len(motion.time_s) - 1)
    usual_stop_s = settings.landing.usual_stop_s
    down, strike = find_touchdowns(evidence, sample_s, usual_stop_s, settings.touchdown, fusion)
    off = find_toe_offs(evidence, settings.toe_off, fusion)
    found_down, found_off = np.isfinite(strike.time_s), np.isfinite(off.time_s)
    rate_u = compute_touchdown_rate_u(evidence, strike.stop_s, sample_s, settings.touchdown)
    off_rate_u = np.full(len(contacts), settings.toe_off.rate_u * sample_s)
    entry = HistoryEntry(
        "events.refined",
        f"{int(found_down.sum())} touchdowns and {int(found_off.sum())} toe-offs from foot motion.",
        settings.model_dump(),
    )
    outside = _find_outside(evidence, strike.fall_mps, settings.coverage)
    of_down = _add_uncertainty(
        "touchdown", rate_u, settings.touchdown.reference_u_s, outside, settings
    )
    of_off = _add_uncertainty(
        "toe_off", off_rate_u, settings.toe_off.reference_u_s, outside, settings
    )
    own = _explain_events(down, off, strike)
    for found, new in ((found_down, of_down), (found_off, of_off)):
        for name, values in new.items():
            own[name] = np.where(found, values, contacts.evidence.get(name, 0.0))
    return replace(
        contacts,
        touchdown_s=np.where(found_down, down.time_s, contacts.touchdown_s),
        toe_off_s=np.where(found_off, off.time_s, contacts.toe_off_s),
        touchdown_u_s=np.where(found_down, np.hypot(down.u_s, rate_u), contacts.touchdown_u_s),
        toe_off_u_s=np.where(found_off, np.hypot(off.u_s, off_rate_u), contacts.toe_off_u_s),
        evidence={**evidence, **own, "outside_evidence": outside.astype(np.float64)},
        history=(*motion.history, entry),
    )


def _explain_events(down: Fused, off: Fused, strike: Strike) -> dict[str, FloatArray]:
    """What explains the events: the foot's own mark, the weights of all, and how they disagree."""
    return {
        "strike_s": strike.time_s,
        "strike_in_doubt_s": strike.in_doubt_s,
        **_compute_shares(down, TOUCHDOWN_MARKS),
        **_compute_shares(off, TOE_OFF_MARKS),
        "touchdown_apart_s": down.spread_s,
        "toe_off_apart_s": off.spread_s,
    }


def _add_uncertainty(
    event: str,
    rate_u_s: FloatArray,
    reference_u_s: float,
    outside: NDArray[np.bool_],
    settings: RefineSettings,
) -> dict[str, FloatArray]:
    """What sampling adds to an event, and what a set-up shares of its uncertainty."""
    wider = np.where(outside, settings.coverage.widened, 1.0)
    return {
        f"{event}_rate_u_s": rate_u_s,
        f"{event}_reference_u_s": reference_u_s * wider,
    }


def _find_outside(
    evidence: dict[str, FloatArray], fall_mps: FloatArray, settings: CoverageSettings
) -> NDArray[np.bool_]:
    """Contacts unlike any in the data with force plates."""
    speed = evidence["running_speed_mps"]
    ball = evidence["heel_weight"] < 0.5
    unlike = (
        (speed < settings.slowest_mps)
        | (speed > settings.fastest_mps)
        | (evidence["slowing_mps"] > settings.changing_mps)
        | (ball & ((fall_mps < settings.softest_mps) | (fall_mps > settings.hardest_mps)))
    )
    # Where the foot's motion does not tell, the marks have said whether data cover them.
    return np.where(np.isfinite(speed), unlike, get_mark(evidence, "outside_evidence") > 0.0)


def _compute_shares(event: Fused, marks: tuple[str, ...]) -> dict[str, FloatArray]:
    return {f"{name}_share": share for name, share in zip(marks, event.share, strict=True)}
