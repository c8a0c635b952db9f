"""How well the events of a reference can be foretold from its own rhythm alone.

The step table is evidence for an offset of the clocks only where it tells the reference's events
better than that: in a steady run the next touchdown is foretold by the last one nearly as well, and
a coincidence with a touchdown of the table then says little.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.agreement.events import TOE_OFF, TOUCHDOWN, EventTrain, FloatArray, IntArray

BoolArray = NDArray[np.bool_]

_NEIGHBOUR_COUNT: Final = 3
"""Neighbours on either side that tell the local step time; chosen, no source."""
_STEP_SHARES: Final = (0.70, 0.14, 0.04, 0.02)
"""How likely the next event is 1, 2, 3 or 4 steps on, events being missed; the rest are false."""
_FALSE_SHARE: Final = 0.10
"""How likely an event is false; chosen: what the shares of steps leave."""
_AFTER_FALSE_SHARE: Final = 0.30
"""How likely an event out of rhythm is true all the same, the one before it being false."""
_USUAL_SD_S: Final = 0.006
"""Towards which the scatter about the rhythm is drawn where steps are few; chosen, no source."""
_PRIOR_COUNT: Final = 4.0
"""Steps that the usual scatter counts for; chosen, no source."""
_LEAST_SD_S: Final = 0.0015
"""Floor of the scatter about the rhythm; chosen, no source."""
_FARTHEST_AHEAD_COUNT: Final = 6
"""Events ahead among which a neighbour is looked for; chosen: some may be false."""
MAD_TO_SD_RATIO: Final = 1.4826
"""SD of a normal distribution over its median absolute deviation: 1 / 0.67449."""
_FARTHEST_RATIO: Final = 3.5
"""Residuals beyond so many times their median size count as this."""


@dataclass(frozen=True, eq=False)
class Rhythm:
    """How each event is foretold by those before it; all arrays of shape (n,).

    Parameters
    ----------
    step_s : float
        Usual time from an event to the next of its kind.
    log_density : ndarray
        Log of the density per s with which the event is foretold.
    weight : ndarray
        Of a true event at this place among all that may come next.
    false_share : ndarray
        How likely the event is a false one, by rhythm alone.
    informed : ndarray of bool
        Whether an event before it tells anything of it.
    """

    step_s: float
    log_density: FloatArray
    weight: FloatArray
    false_share: FloatArray
    informed: BoolArray


def estimate_step_s(train: EventTrain) -> float:
    """Median time between neighbouring events of a kind in s; NaN with fewer than two."""
    steps = np.concatenate(
        [np.diff(train.time_s[train.kind == kind]) for kind in (TOUCHDOWN, TOE_OFF)]
    )
    return float(np.median(steps)) if len(steps) else np.nan


def find_rhythm(train: EventTrain, step_s: float) -> Rhythm:
    """Rhythm of a row of events.

    A touchdown is foretold by the last touchdown, one to four steps on, with the step time of its
    neighbourhood; a toe-off by the touchdown of its contact, or without one by the last toe-off.
    Left and right may differ. Some events are false and come at any time.

    Parameters
    ----------
    train : EventTrain
    step_s : float
        Usual time from an event to the next of its kind in s.

    Returns
    -------
    Rhythm
    """
    n = len(train)
    table = np.column_stack((np.full(n, 1.0 / step_s), np.full(n, 0.7), np.ones(n), np.zeros(n)))
    down = np.flatnonzero(train.kind == TOUCHDOWN)
    off = np.flatnonzero(train.kind == TOE_OFF)
    for rows in (down, off):
        if len(rows) > 1:
            table[rows[1:]] = _foretell_steps(np.diff(train.time_s[rows]), step_s)
    contact = _measure_contact_s(train, off, down, step_s)
    known = np.isfinite(contact)
    if known.any():
        begun = train.time_s[off[known]] - contact[known]
        table[off[known]] = _foretell_contacts(contact[known], begun, step_s)
    density, weight, false_share, informed = table.T
    return Rhythm(step_s, np.log(density), weight, false_share, informed > 0.0)


def find_holes(train: EventTrain, step_s: float) -> EventTrain:
    """Places where events of a row may be missing.

    Between any two events of a kind that lie two to four steps apart, false ones in between or not,
    and a step beyond the first and the last.

    Parameters
    ----------
    train : EventTrain
    step_s : float
        Usual time from an event to the next of its kind in s.
    """
    times, kinds = [np.zeros(0)], [np.zeros(0, dtype=np.int64)]
    for kind in (TOUCHDOWN, TOE_OFF):
        at = train.time_s[train.kind == kind]
        if not len(at):
            continue
        found = [np.array([at[0] - step_s, at[-1] + step_s])]
        for ahead in range(1, _FARTHEST_AHEAD_COUNT + 1):
            gap = at[ahead:] - at[:-ahead]
            for steps in range(2, len(_STEP_SHARES) + 1):
                apart = np.abs(gap - steps * step_s) < 0.2 * step_s
                inner = np.arange(1, steps) / steps
                found.append((at[:-ahead][apart, None] + gap[apart, None] * inner).ravel())
        places = np.concatenate(found)
        times.append(places)
        kinds.append(np.full(len(places), kind))
    time = np.concatenate(times)
    order = np.argsort(time, kind="stable")
    unknown = np.zeros(len(time), dtype=np.int64)
    return EventTrain(time[order], np.concatenate(kinds)[order], unknown, np.nan, np.nan)


def _measure_contact_s(
    train: EventTrain, off: IntArray, down: IntArray, step_s: float
) -> FloatArray:
    """Time from the last touchdown to each toe-off; NaN where that is no contact."""
    if not len(down) or not len(off):
        return np.full(len(off), np.nan)
    before = np.searchsorted(train.time_s[down], train.time_s[off], side="right") - 1
    contact = train.time_s[off] - train.time_s[down[np.maximum(before, 0)]]
    return np.where((before >= 0) & (contact < 1.1 * step_s), contact, np.nan)


def _foretell_steps(gap_s: FloatArray, step_s: float) -> FloatArray:
    """How well each event is foretold by the one before it, columns as of :func:`_build_table`."""
    ones = (gap_s > 0.7 * step_s) & (gap_s < 1.4 * step_s)
    local = _compute_local_median(gap_s, ones, step_s)
    sd, split = _estimate_spread(gap_s - local, ones)
    steps = np.arange(1, len(_STEP_SHARES) + 1)
    residual = gap_s[:, None] - steps * local[:, None]
    # Left and right may differ: over an even number of steps that cancels.
    apart = np.where(steps % 2 == 1, split, 0.0)
    flips = np.broadcast_to(steps % 2 == 1, residual.shape)
    part = _compute_alternating_density(residual, apart, sd * np.sqrt(steps), flips, step_s)
    return _build_table(part, np.array(_STEP_SHARES), step_s, gap_s < (steps[-1] + 0.5) * local)


def _foretell_contacts(contact_s: FloatArray, down_s: FloatArray, step_s: float) -> FloatArray:
    """How well each contact time is foretold by those beside it; ``down_s``: their touchdowns."""
    every = np.ones(len(contact_s), dtype=bool)
    local = _compute_local_median(contact_s, every, float(np.median(contact_s)))
    size = np.abs(contact_s - local)
    sd, split = _estimate_spread(contact_s - local, size <= _FARTHEST_RATIO * np.median(size))
    odd = np.rint(np.diff(down_s, append=down_s[-1]) / step_s) % 2 == 1
    one = np.ones(1)
    part = _compute_alternating_density(
        (contact_s - local)[:, None], split * one, sd * one, odd[:, None], step_s
    )
    weight = np.array([1.0 - _FALSE_SHARE])
    return _build_table(weight * part, weight, step_s, every)


def _compute_alternating_density(
    residual_s: FloatArray, apart_s: FloatArray, sd_s: FloatArray, flips: BoolArray, step_s: float
) -> FloatArray:
    """Densities of values that lie by turns above and below their mean, shape (n, m).

    Column by column a different number of steps; which side of the mean is due is carried from one
    value to the next, and half forgotten where a value fits neither.
    """
    scale = 1.0 / (sd_s * np.sqrt(2.0 * np.pi))
    above = scale * np.exp(-0.5 * ((residual_s - apart_s) / sd_s) ** 2)
    below = scale * np.exp(-0.5 * ((residual_s + apart_s) / sd_s) ** 2)
    weights = np.array(_STEP_SHARES if residual_s.shape[1] > 1 else (1.0 - _FALSE_SHARE,))
    out = np.empty_like(above)
    due_above = 0.5
    for i in range(len(out)):
        high, low = due_above * above[i], (1.0 - due_above) * below[i]
        out[i] = high + low
        to_above = weights @ np.where(flips[i], low, high)
        to_below = weights @ np.where(flips[i], high, low)
        lost = _FALSE_SHARE / step_s
        due_above = float((to_above + 0.5 * lost) / (to_above + to_below + lost))
    return np.asarray(out * weights if residual_s.shape[1] > 1 else out)


def _build_table(
    part: FloatArray, weights: FloatArray, step_s: float, informed: BoolArray
) -> FloatArray:
    """Columns density, weight, share of false ones, informed."""
    false = _FALSE_SHARE / step_s
    total = part.sum(axis=1) + false
    weight = (part @ weights + _AFTER_FALSE_SHARE * false) / total
    return np.column_stack((total, weight, false / total, informed))


def _compute_local_median(values: FloatArray, usable: BoolArray, otherwise: float) -> FloatArray:
    """Middle of the usable neighbours of each value, itself left out, left and right alike."""
    out = np.full(len(values), otherwise)
    first = np.flatnonzero(usable[:-1] & usable[1:])
    # Neighbours by twos, so that feet that differ do not pull the middle to one of them.
    twos = 0.5 * (values[first] + values[first + 1])
    for i in range(len(values)):
        other = (first != i) & (first != i - 1)
        near = np.argsort(np.abs(first[other] + 0.5 - i), kind="stable")[: 2 * _NEIGHBOUR_COUNT]
        if len(near):
            out[i] = np.median(twos[other][near])
    return out


def _estimate_spread(residual_s: FloatArray, usable: BoolArray) -> tuple[float, float]:
    """Scatter of steps about their rhythm, and how far left and right lie from their mean."""
    used = residual_s[usable]
    most = _FARTHEST_RATIO * float(np.median(np.abs(used))) if len(used) else 0.0
    whole = float(np.mean(np.minimum(np.abs(used), most) ** 2)) if len(used) else 0.0
    pairs = usable[2:] & usable[:-2]
    same_side = _compute_robust_variance((residual_s[2:] - residual_s[:-2])[pairs]) / 2.0
    count = int(pairs.sum())
    prior = _PRIOR_COUNT * _USUAL_SD_S**2
    variance = (prior + count * min(same_side, whole)) / (_PRIOR_COUNT + count)
    sd = max(float(np.sqrt(variance)), _LEAST_SD_S)
    return sd, float(np.sqrt(max(whole - sd**2, 0.0)))


def _compute_robust_variance(values: FloatArray) -> float:
    """Variance by the median absolute deviation; 0 without values."""
    if not len(values):
        return 0.0
    return float((MAD_TO_SD_RATIO * np.median(np.abs(values - np.median(values)))) ** 2)
