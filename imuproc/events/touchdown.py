"""Touchdown from its marks: the foot's own arrest, a shock, the loading of the shank, the jerk."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.events.foot_points import FORCE_PLATES
from imuproc.events.fusion import Evidence, Fused, FusionSettings, fuse_marks, get_mark
from imuproc.events.landing import MOST_CANDIDATES
from imuproc.files.settings_model import JUDGEMENT, StageSettings, number, span

FloatArray = NDArray[np.float64]

TOUCHDOWN_MARKS = ("strike", "shock", "axial", "jerk")
"""The marks in the order in which they are weighed."""


class TouchdownSettings(StageSettings):
    """Marks of touchdown: their lags and standard uncertainties."""

    basis = FORCE_PLATES
    strike_u_s: tuple[float, float] = number(
        (0.0018, 0.0025), (0.0001, 0.1), "Uncertainty of the arrest of the ball and of the heel."
    )
    stop_u_share: float = number(0.1, (0.0, 5.0), "Part of the arrest's duration that adds to it.")
    soft_u_share: float = number(
        0.5, (0.0, 5.0), "Part of what it lasts longer than usual that adds to it."
    )
    give_u_m: float = number(
        0.0025,
        (0.0, 0.1),
        "Way that the ball may go on after contact before it is stopped; over its fall it adds.",
    )
    choice_u_share: float = number(
        1.0,
        (0.0, 5.0),
        "Part of the spread of the foot's candidates (stops of the ball; ball or heel) that adds "
        "to it, where the other marks do not decide between them.",
    )
    shock_lag_s: float = number(
        0.0005,
        (-0.1, 0.1),
        "Lag of the first rise of a shock: sole, shoe and skin delay it by some ms.",
        JUDGEMENT,
    )
    shock_u_s: float = number(0.0035, (0.0001, 0.1), "Its standard uncertainty.")
    shock_blunt_u_s: float = number(
        0.3, (0.0, 10.0), "What adds to that, over the square of how far the shock stands out."
    )
    shock_clear: tuple[float, float] = span(
        (3.0, 8.0),
        (1.0, 100.0),
        "Between standing out this far and that far a shock more and more surely has the foot "
        "landed: ringing can only delay its arrest.",
        unit="",
    )
    shock_seen: tuple[float, float] = span(
        (2.0, 5.0),
        (1.0, 100.0),
        "Between standing out this far and that far a shock is more and more surely in sight.",
        unit="",
    )
    shock_rate_hz: float = number(
        375.0,
        (20.0, 5000.0),
        "Sampling rate below which the band of a shock is cut; its uncertainty grows with the "
        "sampling interval there.",
        "2.5 times the upper end of that band",
    )
    cut_lead: float = number(
        1.5,
        (-10.0, 10.0),
        "By how much a shock whose band is cut seems to begin earlier.",
        unit="sampling intervals beyond that rate's",
    )
    axial_lag_s: float = number(0.009, (-0.1, 0.1), "Lag of the loading of the shank.")
    axial_u_s: float = number(0.010, (0.0001, 0.1), "Its standard uncertainty.")
    jerk_lag_s: float = number(-0.002, (-0.1, 0.1), "Lag of the half rise of the foot's jerk.")
    jerk_u_s: float = number(0.009, (0.0001, 0.1), "Its standard uncertainty.")
    doubt_left: float = number(
        0.3,
        (0.0, 1.0),
        "Share of the uncertainty by ball and heel that stays where the other marks decide.",
        unit="",
    )
    rate_u: float = number(
        0.6,
        (0.0, 20.0),
        "What coarse sampling adds, times sampling interval over duration of the arrest.",
        unit="sampling intervals",
    )
    unresolved_rate_u: tuple[float, float] = number(
        (0.6, 1.5),
        (0.0, 20.0),
        "What it adds where the band of a shock is cut, times the share that is: without a shock "
        "in sight, and with one that stands out.",
        unit="sampling intervals",
    )
    reference_u_s: float = number(0.004, (0.0, 0.1), "What data sets differ by.")


@dataclass(frozen=True, eq=False)
class Strike:
    """What the foot's own motion says of touchdown, shape (m,) each.

    Parameters
    ----------
    time_s, u_s : ndarray
        Contact by ball or heel, or between them; NaN where the foot's motion does not tell.
    in_doubt_s : ndarray
        Spread of what else it may have been.
    fall_mps, stop_s : ndarray
        Fall of the ball that was stopped, and in what time.
    """

    time_s: FloatArray
    u_s: FloatArray
    in_doubt_s: FloatArray
    fall_mps: FloatArray
    stop_s: FloatArray


def find_touchdowns(
    evidence: Evidence,
    sample_s: float,
    usual_stop_s: float,
    settings: TouchdownSettings,
    fusion: FusionSettings,
) -> tuple[Fused, Strike]:
    """The foot's own arrest, averaged with the marks of raw signals.

    Parameters
    ----------
    evidence : mapping from str to ndarray, shape (m,)
        Marks of :mod:`imuproc.events.landing` and :mod:`imuproc.events.marks`.
    sample_s : float
        Sampling interval.
    usual_stop_s : float
        How long a usual arrest of the ball lasts.
    settings : TouchdownSettings
    fusion : FusionSettings

    Returns
    -------
    Fused
        Touchdowns and the weights of :data:`TOUCHDOWN_MARKS`.
    Strike
        What was taken of the foot's own motion.
    """
    ratio = np.maximum(np.nan_to_num(get_mark(evidence, "shock_ratio")), 1.0)
    coarse = max(1.0, settings.shock_rate_hz * sample_s)
    shock_u = np.hypot(settings.shock_u_s * coarse, settings.shock_blunt_u_s / ratio**2)
    # What a cut band leaves of a shock begins before it.
    shock_lag_s = settings.shock_lag_s - settings.cut_lead * (sample_s - sample_s / coarse)
    others_s = np.stack(
        (
            get_mark(evidence, "shock_s") - shock_lag_s,
            get_mark(evidence, "axial_rise_s") - settings.axial_lag_s,
            get_mark(evidence, "jerk_half_s") - settings.jerk_lag_s,
        )
    )
    others_u = np.stack(
        (
            shock_u,
            np.full(len(ratio), settings.axial_u_s),
            np.full(len(ratio), settings.jerk_u_s),
        )
    )
    strike = _choose_strike(evidence, (others_s, others_u), usual_stop_s, settings, fusion)
    # Ringing makes the foot fall once more: a clear shock well before the arrest has the foot down.
    late_s = np.nan_to_num(np.maximum(strike.time_s - others_s[0], 0.0))
    first, whole = settings.shock_clear
    clear = np.clip((ratio - first) / (whole - first), 0.0, 1.0)
    strike_u = np.hypot(strike.u_s, clear * late_s)
    marks_s, marks_u = np.vstack((strike.time_s, others_s)), np.vstack((strike_u, others_u))
    # The swing pulls along the shank as the load does.
    found = fuse_marks(marks_s, marks_u, fusion, stray=(TOUCHDOWN_MARKS.index("axial"),))
    # Where the foot comes down too slowly or softly to tell, the other marks are blunt as well.
    left_s = settings.doubt_left * strike.u_s * (1.0 - found.share[0])
    return replace(found, u_s=np.hypot(found.u_s, np.nan_to_num(left_s))), strike


def _choose_strike(
    evidence: Evidence,
    others: tuple[FloatArray, FloatArray],
    usual_stop_s: float,
    settings: TouchdownSettings,
    fusion: FusionSettings,
) -> Strike:
    """Contact by ball or heel: of the stops of the ball that which the other marks bear out.

    Each stop counts by its hardness and by how far the other marks lie from it, on a scale with
    heavy tails; the spread of what remains possible is the doubt of the choice.
    """
    ball_u, heel_u = settings.strike_u_s
    ball_s, hardness, stop_s, falls_mps = (
        np.stack([evidence[f"{name}_{k}"] for k in range(MOST_CANDIDATES)])
        for name in ("ball_s", "hardness", "stop_s", "fall_mps")
    )
    apart_s, both_u = ball_s[:, None] - others[0], np.hypot(ball_u, others[1])
    credit = np.nan_to_num(hardness) * np.prod(_weigh_agreement(apart_s, both_u, fusion), axis=1)
    weight = _normalise_rows(credit)
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
    softer_s = np.maximum(chosen_stop_s - usual_stop_s, 0.0)
    own_u = np.hypot(own_u, settings.soft_u_share * softer_s)
    own_u = np.hypot(own_u, (1.0 - heel) * settings.give_u_m / fall_mps)
    return Strike(
        time_s=heel * heel_s + (1.0 - heel) * chosen_s,
        u_s=np.hypot(own_u, settings.choice_u_share * doubt_s),
        in_doubt_s=doubt_s,
        fall_mps=fall_mps,
        stop_s=chosen_stop_s,
    )


def _weigh_agreement(apart_s: FloatArray, u_s: FloatArray, fusion: FusionSettings) -> FloatArray:
    """Likelihood of a distance, at most 1, with heavy tails (Student's t).

    A mark that is missing says nothing; one that is far off says little.
    """
    near = (1.0 + (apart_s / u_s) ** 2 / fusion.tail) ** (-0.5 * (fusion.tail + 1.0))
    return np.where(np.isfinite(near), np.maximum(near, fusion.credit_least), 1.0)


def _normalise_rows(weight: FloatArray) -> FloatArray:
    total = weight.sum(axis=0)
    return np.asarray(np.divide(weight, total, out=np.zeros_like(weight), where=total > 0.0))


def compute_touchdown_rate_u(
    evidence: Evidence,
    stop_s: FloatArray,
    sample_s: float,
    settings: TouchdownSettings,
) -> FloatArray:
    """What coarse sampling adds: short arrests are hardly seen, and shocks seen but not timed.

    Parameters
    ----------
    evidence : mapping from str to ndarray, shape (m,)
    stop_s : ndarray, shape (m,)
        Duration of each arrest.
    sample_s : float
        Sampling interval.
    settings : TouchdownSettings

    Returns
    -------
    ndarray, shape (m,)
        Standard uncertainty in s.
    """
    short_u = settings.rate_u * sample_s**2 / stop_s
    unresolved = max(0.0, 1.0 - 1.0 / (settings.shock_rate_hz * sample_s))
    first, whole = settings.shock_seen
    ratio = get_mark(evidence, "shock_ratio")
    seen = np.nan_to_num(np.clip((ratio - first) / (whole - first), 0.0, 1.0))
    unseen_u, seen_u = settings.unresolved_rate_u
    cut_u = unresolved * sample_s * (unseen_u + (seen_u - unseen_u) * seen)
    return np.asarray(np.hypot(short_u, cut_u))
