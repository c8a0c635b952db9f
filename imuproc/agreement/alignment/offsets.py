"""Every offset that two rows of events allow, and how likely each is."""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from imuproc.agreement.alignment.rhythm import Rhythm, estimate_step_s, find_holes, find_rhythm
from imuproc.agreement.events import TOE_OFF, TOUCHDOWN, EventTrain, FloatArray, IntArray

BoolArray = NDArray[np.bool_]

_MISSED_AT_END_SHARE: Final = 0.2
"""How likely an event is missed where the other row watched but has none before or after it.

Chosen, no source.
"""
_HOLE_SD_S: Final = 0.012
"""How well the place of an event that the table missed is known from those beside it."""
_OTHER_SIDE_SHARE: Final = 0.03
"""How likely a matched event bears the other side's label."""
_LEAST_OVERLAP_SHARE: Final = 0.5
"""Of the shorter row that the other must span; chosen, no source."""
_USUAL_STEP_S: Final = 0.25
"""Step time where a row has too few events to tell (common practice, no source)."""
_LEAST_STEP_S: Final = 0.05
"""Shorter steps are false events; chosen: well below any step of running."""
_BIN_S: Final = 0.005
"""Of the histogram of differences; chosen: about the scatter of a matched event."""
_MOST_CANDIDATES_COUNT: Final = 600
"""Highest peaks of the histogram that are fitted; chosen: bounds time and memory."""
_ROUND_COUNT: Final = 14
"""Of expectation maximisation; chosen, no source."""
_ROUNDS_FOR_ALL_COUNT: Final = 4
"""After which only the likeliest candidates are fitted on; chosen: saves time."""
_FINALIST_COUNT: Final = 150
"""How many those are; chosen: saves time."""
_FIRST_SCATTER_S: Final = 0.012
"""Scatter of matched events that a fit starts from; chosen: wide enough to catch them."""
_LEAST_SCATTER_S: Final = 0.001
"""Floor of the scatter of matched events; chosen, no source."""
_USUAL_SCATTER_S: Final = 0.004
"""Towards which the scatter is drawn where matches are few; chosen, no source."""
_PRIOR_COUNT: Final = 10.0
"""Matched events that the usual scatter counts for; chosen, no source."""
_KINDS_APART_S: Final = 0.012
"""How far toe-offs may be off against touchdowns: photocells and video read contact times 5 to 14
ms long against force plates (2025, Int J Sports Sci Coaching, 10.1177/17479541251333937)."""
_DRIFT_SD_RATIO: Final = 200e-6
"""Usual difference of two clocks' rates (common practice, no source)."""
_GRID_SMEAR_S: Final = 0.020
"""Most that drift between two of the rates tried moves events; chosen: a few bins."""


@dataclass(frozen=True, eq=False)
class Fits:
    """Candidates for the offset, each fitted; all arrays of shape (k,) unless said otherwise.

    Parameters
    ----------
    at_s : float
        Time of the table at which the offsets hold.
    offset_s : ndarray
        Reference minus table, the mean of touchdowns and toe-offs.
    drift : ndarray
        By how much more the reference's clock runs, in s per s.
    apart_s : ndarray
        By how much later toe-offs of the reference are than its touchdowns, against the table's.
    scatter_s : ndarray
        SD of a matched event.
    log_evidence : ndarray
        Log likelihood against the rhythm alone, integrated over the offset.
    matched : ndarray
        Expected number of matched events.
    covariance : ndarray, shape (k, 3, 3)
        Of offset, drift and apart.
    same_side : ndarray
        Share of matched events with equal sides among those with known ones; NaN without.
    """

    at_s: float
    offset_s: FloatArray
    drift: FloatArray
    apart_s: FloatArray
    scatter_s: FloatArray
    log_evidence: FloatArray
    matched: FloatArray
    covariance: FloatArray
    same_side: FloatArray

    def __len__(self) -> int:
        return len(self.offset_s)


@dataclass(frozen=True, eq=False)
class _Scene:
    """What all candidates share."""

    table: EventTrain
    reference: EventTrain
    at_s: float
    holes: EventTrain
    rhythm: Rhythm
    scatter_floor_s: float
    drift_sd: float


def fit_offsets(
    table: EventTrain, reference: EventTrain, resolution_s: float, drift_limit: float
) -> Fits:
    """All offsets at which events coincide, fitted and weighed.

    An offset is weighed by how much better the table's events foretell the reference's than the
    reference's own rhythm does (:mod:`imuproc.agreement.alignment.rhythm`); events without a
    partner inside what both cover count against it. Fitted by expectation maximisation with a
    scatter of its own.

    Parameters
    ----------
    table, reference : EventTrain
        At least one event each.
    resolution_s : float
        Frame or sampling interval of the reference; NaN if unknown.
    drift_limit : float
        Largest difference of clock rates that is looked for, in s per s.

    Returns
    -------
    Fits
        Empty when no two events coincide.
    """
    at_s = 0.5 * float(table.time_s[0] + table.time_s[-1])
    steps = [s for s in map(estimate_step_s, (table, reference)) if np.isfinite(s)]
    step_s = max(min(steps, default=_USUAL_STEP_S), _LEAST_STEP_S)
    scene = _Scene(
        table,
        reference,
        at_s,
        find_holes(table, step_s),
        find_rhythm(reference, step_s),
        float(np.fmax(_LEAST_SCATTER_S, resolution_s / np.sqrt(12.0))),
        _DRIFT_SD_RATIO,
    )
    offset, drift = _find_candidates(scene, drift_limit)
    return _fit_candidates(scene, offset, drift)


def _find_candidates(scene: _Scene, drift_limit: float) -> tuple[FloatArray, FloatArray]:
    """Offsets at which many events coincide, by the histogram of all differences."""
    span = min(scene.table.span_s, scene.reference.span_s)
    count = int(np.ceil(drift_limit * span / _GRID_SMEAR_S))
    offsets, drifts, votes = [], [], []
    for drift in drift_limit * np.arange(-count, count + 1) / max(count, 1):
        at, n = _find_peaks(scene, float(drift))
        offsets.append(at)
        drifts.append(np.full(len(at), drift))
        votes.append(n)
    best = np.argsort(-np.concatenate(votes), kind="stable")[:_MOST_CANDIDATES_COUNT]
    return np.concatenate(offsets)[best], np.concatenate(drifts)[best]


def _find_peaks(scene: _Scene, drift: float) -> tuple[FloatArray, FloatArray]:
    """Offsets at the peaks of the histogram, and the number of coincidences there."""
    a, b = scene.table, scene.reference
    first = a.time_s + drift * (a.time_s - scene.at_s)
    low = b.time_s[0] - first[-1] - 4 * _BIN_S
    bins = int(np.ceil((b.time_s[-1] - first[0] - low) / _BIN_S)) + 5
    votes = np.zeros(bins)
    for kind in (TOUCHDOWN, TOE_OFF):
        ours, theirs = first[a.kind == kind], b.time_s[b.kind == kind]
        for part in np.array_split(ours, max(1, len(ours) // 256)):
            apart = (theirs[None, :] - part[:, None]).ravel()
            votes += np.bincount(((apart - low) / _BIN_S).astype(np.int64), minlength=bins)
    smooth = np.convolve(votes, np.array([1.0, 2.0, 3.0, 3.0, 3.0, 2.0, 1.0]) / 3.0, mode="same")
    inner = smooth[1:-1]
    peak = 1 + np.flatnonzero((inner >= smooth[:-2]) & (inner > smooth[2:]) & (inner > 1.0))
    at = low + (peak + 0.5) * _BIN_S
    kept = _compute_overlap(scene, at) >= _LEAST_OVERLAP_SHARE
    return at[kept], smooth[peak][kept]


def _compute_overlap(scene: _Scene, offset_s: FloatArray) -> FloatArray:
    """Share of the shorter row that the other spans at each offset."""
    a, b = scene.table, scene.reference
    low = np.maximum(a.time_s[0] + offset_s, b.time_s[0])
    high = np.minimum(a.time_s[-1] + offset_s, b.time_s[-1])
    return np.asarray(high - low) / max(min(a.span_s, b.span_s), 1e-9)


def _find_nearest(
    a: EventTrain, b: EventTrain, mapped_s: FloatArray, apart_s: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Residual and row of the nearest event of ``a`` for each of ``b``, shape (k, n)."""
    residual = np.full(mapped_s.shape, np.inf)
    partner = np.zeros(mapped_s.shape, dtype=np.int64)
    for kind in (TOUCHDOWN, TOE_OFF):
        rows, columns = np.flatnonzero(a.kind == kind), np.flatnonzero(b.kind == kind)
        if not len(rows) or not len(columns):
            continue
        times = a.time_s[rows]
        x = mapped_s[:, columns] + (0.5 - kind) * apart_s[:, None]
        right = np.clip(np.searchsorted(times, x), 1, max(len(times) - 1, 1))
        left = right - 1
        right = np.minimum(right, len(times) - 1)
        nearer = np.where(np.abs(x - times[left]) <= np.abs(times[right] - x), left, right)
        residual[:, columns] = x - times[nearer]
        partner[:, columns] = rows[nearer]
    return residual, partner


def _fit_candidates(scene: _Scene, offset_s: FloatArray, drift: FloatArray) -> Fits:
    """Each candidate after expectation maximisation; the unlikely ones are left off early."""
    k = len(offset_s)
    parameters = np.column_stack((offset_s, drift, np.zeros(k)))
    scatter = np.full(k, max(_FIRST_SCATTER_S, scene.scatter_floor_s))
    covariance = np.zeros((k, 3, 3))
    for turn in range(_ROUND_COUNT):
        if turn == _ROUNDS_FOR_ALL_COUNT:
            early = _weigh_candidates(scene, parameters, scatter, covariance).log_evidence
            kept = np.argsort(-early, kind="stable")[:_FINALIST_COUNT]
            parameters, scatter = parameters[kept], scatter[kept]
        expected = _compute_expectation(scene, parameters, scatter)
        change, covariance = _solve_parameters(scene, expected, parameters, scatter)
        parameters = parameters + change
        left_s = expected.residual_s - np.einsum("knp,kp->kn", expected.design, change)
        scatter = _estimate_scatter(scene, expected.share, left_s)
    return _weigh_candidates(scene, parameters, scatter, covariance)


def _map_to_table(scene: _Scene, parameters: FloatArray) -> FloatArray:
    """Times of the reference on the table's clock for each candidate, shape (k, n)."""
    from_middle = scene.reference.time_s[None, :] - scene.at_s - parameters[:, :1]
    return np.asarray(scene.at_s + from_middle / (1.0 + parameters[:, 1:2]))


class _Expectation(NamedTuple):
    """How the reference's events fit each candidate; all of shape (k, n) unless said otherwise."""

    share: FloatArray  # how likely the event is matched
    residual_s: FloatArray  # to its nearest partner
    design: FloatArray  # derivatives by offset, drift and apart, shape (k, n, 3)
    log_ratio: FloatArray  # log likelihood against the rhythm alone


def _compute_expectation(
    scene: _Scene, parameters: FloatArray, scatter: FloatArray
) -> _Expectation:
    a, b, rhythm = scene.table, scene.reference, scene.rhythm
    mapped = _map_to_table(scene, parameters)
    residual, partner = _find_nearest(a, b, mapped, parameters[:, 2])
    pad = 0.5 * rhythm.step_s
    start, end = _find_coverage(a, pad)
    inside = (mapped >= start) & (mapped <= end) & np.isfinite(residual)
    agree = np.where(a.side[partner] * b.side[None, :] < 0, _OTHER_SIDE_SHARE, 1.0)
    log_normal = (
        -0.5 * (residual / scatter[:, None]) ** 2 - np.log(scatter * np.sqrt(2 * np.pi))[:, None]
    )
    match = agree * rhythm.weight * np.exp(np.minimum(log_normal - rhythm.log_density, 50.0))
    match = np.where(inside, match, 0.0)
    # An event that the table missed is as well foretold by the reference's rhythm as ever.
    hole, _ = _find_nearest(scene.holes, b, mapped, parameters[:, 2])
    beyond = (mapped < a.time_s[0] - pad) | (mapped > a.time_s[-1] + pad)
    place = np.where(beyond, _MISSED_AT_END_SHARE, np.exp(-0.5 * (hole / _HOLE_SD_S) ** 2))
    missed = (1.0 - rhythm.false_share) * place
    ratio = rhythm.false_share + np.maximum(match, missed)
    share = match / (match + rhythm.false_share + missed)
    design = np.empty((*mapped.shape, 3))
    design[:, :, 0] = 1.0
    design[:, :, 1] = mapped - scene.at_s
    design[:, :, 2] = (b.kind - 0.5)[None, :]
    log_ratio = np.where(inside & rhythm.informed, np.log(ratio), 0.0)
    return _Expectation(share, np.where(inside, residual, 0.0), design, log_ratio)


def _find_coverage(train: EventTrain, pad_s: float) -> tuple[float, float]:
    """What a row of events covers: as stated, else from the first to the last."""
    start = train.start_s if np.isfinite(train.start_s) else train.time_s[0] - pad_s
    end = train.end_s if np.isfinite(train.end_s) else train.time_s[-1] + pad_s
    return float(start), float(end)


def _solve_parameters(
    scene: _Scene, expected: _Expectation, parameters: FloatArray, scatter: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Weighted least squares with what is known beforehand of drift and toe-offs."""
    design = expected.design
    weight = expected.share / scatter[:, None] ** 2
    normal = np.einsum("kn,knp,knq->kpq", weight, design, design)
    right = np.einsum("kn,knp,kn->kp", weight, design, expected.residual_s)
    known = np.array([1e-12, scene.drift_sd**-2, _KINDS_APART_S**-2])
    normal = normal + np.diag(known)[None, :, :]
    right = right - known[None, :] * parameters * np.array([0.0, 1.0, 1.0])
    covariance = np.linalg.inv(normal)
    return np.einsum("kpq,kq->kp", covariance, right), covariance


def _estimate_scatter(scene: _Scene, share: FloatArray, residual: FloatArray) -> FloatArray:
    """SD of matched events, drawn towards the usual one where they are few."""
    usual = np.hypot(_USUAL_SCATTER_S, scene.scatter_floor_s)
    total = np.sum(share * residual**2, axis=1) + _PRIOR_COUNT * usual**2
    scatter = np.sqrt(total / (share.sum(axis=1) + _PRIOR_COUNT))
    return np.asarray(np.maximum(scatter, scene.scatter_floor_s))


def _weigh_candidates(
    scene: _Scene,
    parameters: FloatArray,
    scatter: FloatArray,
    covariance: FloatArray,
) -> Fits:
    """Evidence of each candidate."""
    expected = _compute_expectation(scene, parameters, scatter)
    lonely = _count_lonely_at_ends(scene, parameters)
    usual = np.hypot(_USUAL_SCATTER_S, scene.scatter_floor_s)
    prior = -0.5 * _PRIOR_COUNT * ((usual / scatter) ** 2 + 2.0 * np.log(scatter / usual))
    width = 0.5 * np.log(covariance[:, 0, 0])
    log_evidence = expected.log_ratio.sum(axis=1) + lonely * np.log(_MISSED_AT_END_SHARE)
    return Fits(
        at_s=scene.at_s,
        offset_s=parameters[:, 0],
        drift=parameters[:, 1],
        apart_s=parameters[:, 2],
        scatter_s=scatter,
        log_evidence=log_evidence + prior + width,
        matched=expected.share.sum(axis=1),
        covariance=covariance,
        same_side=_compute_same_side_share(scene, parameters, expected.share),
    )


def _count_lonely_at_ends(scene: _Scene, parameters: FloatArray) -> FloatArray:
    """Contacts of the table before or after all of the reference, though it was watching."""
    a, b = scene.table, scene.reference
    there = a.time_s[None, :] + parameters[:, :1]
    there = there + parameters[:, 1:2] * (a.time_s[None, :] - scene.at_s)
    start, end = _find_coverage(b, 0.0)
    pad = 0.5 * scene.rhythm.step_s
    before = (there >= start) & (there < b.time_s[0] - pad)
    after = (there <= end) & (there > b.time_s[-1] + pad)
    return np.asarray(0.5 * (before | after).sum(axis=1))


def _compute_same_side_share(
    scene: _Scene, parameters: FloatArray, share: FloatArray
) -> FloatArray:
    """Share of matched events whose sides are known on both and equal."""
    mapped = _map_to_table(scene, parameters)
    _, partner = _find_nearest(scene.table, scene.reference, mapped, parameters[:, 2])
    product = scene.table.side[partner] * scene.reference.side[None, :]
    known = np.sum(share * (product != 0), axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.sum(share * (product > 0), axis=1) / known)
