"""Touchdown from its marks: the foot's own arrest, a shock, the loading of the shank, the jerk."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.events.fusion import Evidence, Fused, fused, mark_of
from imuproc.events.landing import MOST_CANDIDATES

FloatArray = NDArray[np.float64]

TOUCHDOWN_MARKS = ("strike", "shock", "axial", "jerk")
"""The marks in the order in which they are weighed."""


@dataclass(frozen=True)
class TouchdownSettings:
    """Marks of touchdown: lags in s, standard uncertainties in s.

    Parameters
    ----------
    strike_u_s : tuple of float
        Arrest of the ball and of the heel.
    stop_u_share : float
        Part of the arrest's duration that adds to it.
    soft_u_share : float
        Part of what it lasts longer than usual that adds to it.
    give_u_m : float
        Way that the ball may go on after contact before it is stopped; over its fall it adds to it.
    choice_u_share : float
        Part of the spread of the foot's candidates (stops of the ball; ball or heel) that adds to
        it, where the other marks do not decide between them.
    shock_lag_s, shock_u_s : float
        First rise of a shock: sole, shoe and skin delay it by some ms (judgement).
    shock_blunt_u_s : float
        What adds to that, over the square of how far the shock stands out.
    shock_clear : tuple of float
        Between standing out this far and that far the foot has more and more surely landed:
        ringing can only delay its arrest.
    shock_rate_hz : float
        Sampling rate below which the band of a shock is cut; its uncertainty grows with the
        sampling interval there.
    cut_lead : float
        By how much a shock whose band is cut seems to begin earlier, in sampling intervals beyond
        that rate's.
    axial_lag_s, axial_u_s : float
        Loading of the shank.
    jerk_lag_s, jerk_u_s : float
        Half rise of the jerk of the foot.
    doubt_left : float
        Share of the uncertainty by ball and heel that stays where the other marks decide.
    rate_u : float
        What coarse sampling adds, in sampling intervals, times sampling interval over duration of
        the arrest.
    unresolved_rate_u : tuple of float
        What it adds where the band of a shock is cut, in sampling intervals times the share that
        is: without a shock in sight, and with one that stands out.
    reference_u_s : float
        What data sets differ by.
    """

    strike_u_s: tuple[float, float] = (0.0018, 0.0025)
    stop_u_share: float = 0.1
    soft_u_share: float = 0.5
    give_u_m: float = 0.0025
    choice_u_share: float = 1.0
    shock_lag_s: float = 0.0005
    shock_u_s: float = 0.0035
    shock_blunt_u_s: float = 0.3
    shock_clear: tuple[float, float] = (3.0, 8.0)
    shock_rate_hz: float = 375.0
    cut_lead: float = 1.5
    axial_lag_s: float = 0.009
    axial_u_s: float = 0.010
    jerk_lag_s: float = -0.002
    jerk_u_s: float = 0.009
    doubt_left: float = 0.3
    rate_u: float = 0.6
    unresolved_rate_u: tuple[float, float] = (0.6, 1.5)
    reference_u_s: float = 0.004


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


def touchdowns(
    evidence: Evidence, sample_s: float, usual_stop_s: float, settings: TouchdownSettings
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

    Returns
    -------
    Fused
        Touchdowns and the weights of :data:`TOUCHDOWN_MARKS`.
    Strike
        What was taken of the foot's own motion.
    """
    ratio = np.maximum(np.nan_to_num(mark_of(evidence, "shock_ratio")), 1.0)
    coarse = max(1.0, settings.shock_rate_hz * sample_s)
    shock_u = np.hypot(settings.shock_u_s * coarse, settings.shock_blunt_u_s / ratio**2)
    # What a cut band leaves of a shock begins before it.
    shock_lag_s = settings.shock_lag_s - settings.cut_lead * (sample_s - sample_s / coarse)
    others_s = np.stack(
        (
            mark_of(evidence, "shock_s") - shock_lag_s,
            mark_of(evidence, "axial_rise_s") - settings.axial_lag_s,
            mark_of(evidence, "jerk_half_s") - settings.jerk_lag_s,
        )
    )
    others_u = np.stack(
        (
            shock_u,
            np.full(len(ratio), settings.axial_u_s),
            np.full(len(ratio), settings.jerk_u_s),
        )
    )
    strike = _strike(evidence, (others_s, others_u), usual_stop_s, settings)
    # Ringing makes the foot fall once more: a clear shock well before the arrest has the foot down.
    late_s = np.nan_to_num(np.maximum(strike.time_s - others_s[0], 0.0))
    first, whole = settings.shock_clear
    clear = np.clip((ratio - first) / (whole - first), 0.0, 1.0)
    strike_u = np.hypot(strike.u_s, clear * late_s)
    marks_s, marks_u = np.vstack((strike.time_s, others_s)), np.vstack((strike_u, others_u))
    # The swing pulls along the shank as the load does.
    found = fused(marks_s, marks_u, stray=(TOUCHDOWN_MARKS.index("axial"),))
    # Where the foot comes down too slowly or softly to tell, the other marks are blunt as well.
    left_s = settings.doubt_left * strike.u_s * (1.0 - found.share[0])
    return replace(found, u_s=np.hypot(found.u_s, np.nan_to_num(left_s))), strike


def _strike(
    evidence: Evidence,
    others: tuple[FloatArray, FloatArray],
    usual_stop_s: float,
    settings: TouchdownSettings,
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


def _agreement(apart_s: FloatArray, u_s: FloatArray) -> FloatArray:
    """Likelihood of a distance, at most 1, with heavy tails (t with 3 degrees of freedom).

    A mark that is missing says nothing; one that is far off says little.
    """
    near = (1.0 + (apart_s / u_s) ** 2 / 3.0) ** -2
    return np.where(np.isfinite(near), np.maximum(near, 1e-3), 1.0)


def _normalised(weight: FloatArray) -> FloatArray:
    total = weight.sum(axis=0)
    return np.asarray(np.divide(weight, total, out=np.zeros_like(weight), where=total > 0.0))


def touchdown_rate_u(
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
    seen = np.nan_to_num(np.clip((mark_of(evidence, "shock_ratio") - 2.0) / 3.0, 0.0, 1.0))
    unseen_u, seen_u = settings.unresolved_rate_u
    cut_u = unresolved * sample_s * (unseen_u + (seen_u - unseen_u) * seen)
    return np.asarray(np.hypot(short_u, cut_u))
