"""Contacts of a reference without a clock put beside those of the table, by their durations.

Photocells give contact and flight times in order and nothing else. Which contact of theirs is which
of ours is found from the pattern of contact and step times, or refused.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from imuproc.agreement.alignment.clock import LEAST_LOG_ODDS, ClockError, format_odds
from imuproc.agreement.alignment.rhythm import MAD_TO_SD_RATIO
from imuproc.agreement.events import FloatArray, IntArray, to_side_signs

_MOST_MISSING_COUNT: Final = 3
"""Contacts in a row that may be missing; chosen, no source."""
_MISSED_SHARE: Final = 0.01
"""How likely a contact in between has no partner for another reason than a hole in its row."""
_HOLE_RATIO: Final = 1.6
"""A step of so many usual ones has contacts missing in it."""
_USUAL_SD_S: Final = 0.006
"""Towards which the scatter of durations is drawn where pairs are few; chosen, no source."""
_PRIOR_COUNT: Final = 6.0
"""Pairs that the usual scatter counts for; chosen, no source."""
_LEAST_SD_S: Final = 0.001
"""Floor of the scatter of durations; chosen, no source."""
_BIAS_SD_S: Final = 0.012
"""How far contact times of two methods may differ on the whole; as for clocked events."""
_OUTLIER_SHARE: Final = 0.05
"""How likely a duration is an outlier; chosen, no source."""
_OUTLIER_WIDTH_S: Final = 0.3
"""Over which outliers are spread evenly; chosen: about a step time."""
_OTHER_SIDE_SHARE: Final = 0.03
"""How likely a pair bears different sides; as for clocked events."""
_ROUND_COUNT: Final = 5
"""Of expectation maximisation; chosen, no source."""
_LEAST_PAIR_LOG_ODDS: Final = float(np.log(1e3))
"""Log odds from which on a single pair is sure; chosen: 1000 to 1."""
_LEAST_PAIRS_COUNT: Final = 4
"""Pairs below which nothing is aligned; chosen, no source."""


@dataclass(frozen=True, eq=False)
class SequenceAlignment:
    """Pairs of contacts by order and duration.

    Parameters
    ----------
    table, reference : ndarray of int, shape (p,)
        Rows of each pair.
    log_odds : ndarray, shape (p,)
        Natural logarithm of the odds of each pair against all other partners of the reference's
        contact.
    doubtful_table, doubtful_reference : ndarray of int
        Rows of the likeliest pairs that are not sure enough.
    shift_log_odds : float
        The same of the alignment against all that share none of its pairs.
    contact_bias_s : float
        By how much longer the reference's contacts are.
    scatter_s : float
        SD of the difference of contact times.
    """

    table: IntArray
    reference: IntArray
    log_odds: FloatArray
    doubtful_table: IntArray
    doubtful_reference: IntArray
    shift_log_odds: float
    contact_bias_s: float
    scatter_s: float


@dataclass(frozen=True, eq=False)
class Durations:
    """Contacts in order by their durations; NaN where unknown, all of shape (n,)."""

    side: IntArray
    contact_s: FloatArray
    step_s: FloatArray

    def __len__(self) -> int:
        return len(self.contact_s)


def make_durations(side: ArrayLike, contact_s: ArrayLike, flight_s: ArrayLike) -> Durations:
    """Contact and flight times as durations; a step time is their sum."""
    contact = np.asarray(contact_s, dtype=np.float64)
    return Durations(to_side_signs(side), contact, contact + np.asarray(flight_s, dtype=np.float64))


def align_sequences(table: Durations, reference: Durations) -> SequenceAlignment:
    """Which contact of the reference is which of the table.

    Dynamic programming over all alignments in order (pair hidden Markov model, forward and
    backward; Durbin et al. 1998, Biological Sequence Analysis, chapter 4; from memory): up to three
    contacts may be missing in between on either side, any number at the ends (where a step is
    long enough for two or more, unknown contacts are put in first), but at least half of
    the shorter row has a partner's place in common. A pair counts by how much better the table
    foretells its contact and step time than the contacts beside it in the reference do, so that
    equal steps count for nothing. Taken only where its odds are a million to 1 against all
    alignments together that share none of its pairs; single pairs below 1000 to 1 against all other
    partners are told apart as doubtful.

    Raises
    ------
    ClockError
        If too few contacts correspond or another alignment is about as likely.
    """
    if min(len(table), len(reference)) < _LEAST_PAIRS_COUNT:
        raise ClockError(
            f"contacts cannot be aligned by their durations: found {len(table)} in the table and "
            f"{len(reference)} in the reference, needed {_LEAST_PAIRS_COUNT} in both"
        )
    (ours, our_rows), (theirs, their_rows) = _insert_holes(table), _insert_holes(reference)
    best: SequenceAlignment | None = None
    weight = -np.inf
    # Started at several diagonals: bias and scatter depend on which is taken.
    for bias in (-0.012, 0.0, 0.012):
        found, evidence = _align_rows(ours, theirs, bias)
        if evidence > weight:
            best, weight = found, evidence
    usual = best.shift_log_odds if best is not None and len(best.table) else 0.0
    if best is None or len(best.table) < _LEAST_PAIRS_COUNT or usual < LEAST_LOG_ODDS:
        raise ClockError(
            "contacts cannot be aligned by their durations without doubt: the likeliest pairing "
            f"has odds of {format_odds(usual)} (needed {format_odds(LEAST_LOG_ODDS)}); "
            "contact and flight times are too alike or too few; use a reference with a clock"
        )
    rows, columns = our_rows[best.table], their_rows[best.reference]
    known = (rows >= 0) & (columns >= 0)
    sure = known & (best.log_odds > _LEAST_PAIR_LOG_ODDS)
    return replace(
        best,
        table=rows[sure],
        reference=columns[sure],
        log_odds=best.log_odds[sure],
        doubtful_table=rows[known & ~sure],
        doubtful_reference=columns[known & ~sure],
    )


def _insert_holes(row: Durations) -> tuple[Durations, IntArray]:
    """The row with an unknown contact for each that a long step shows to be missing.

    Also the original row of each contact, -1 for the unknown ones.
    """
    usual = float(np.nanmedian(row.step_s)) if np.isfinite(row.step_s).any() else np.nan
    ratio = np.nan_to_num(row.step_s / usual, nan=1.0)
    missing = np.where(ratio > _HOLE_RATIO, np.rint(ratio) - 1.0, 0.0).astype(np.int64)
    missing = np.clip(missing, 0, _MOST_MISSING_COUNT)
    place = np.arange(len(row)) + np.concatenate(([0], np.cumsum(missing)[:-1]))
    count = len(row) + int(missing.sum())
    rows = np.full(count, -1, dtype=np.int64)
    rows[place] = np.arange(len(row))
    side = np.zeros(count, dtype=np.int64)
    contact, step = np.full(count, np.nan), np.full(count, np.nan)
    side[place], contact[place] = row.side, row.contact_s
    step[place] = np.where(missing > 0, np.nan, row.step_s)
    return Durations(side, contact, step), rows


def _align_rows(
    table: Durations, reference: Durations, bias_s: float
) -> tuple[SequenceAlignment, float]:
    """Alignment after rounds of expectation maximisation, and its evidence."""
    sd = np.array([_USUAL_SD_S, _USUAL_SD_S])
    contact = np.subtract.outer(table.contact_s, reference.contact_s)
    step = np.subtract.outer(table.step_s, reference.step_s)
    own = _compute_own_log_density(reference)
    agree = np.multiply.outer(table.side, reference.side) >= 0
    posterior, total, gain = np.zeros_like(contact), -np.inf, contact
    for _ in range(_ROUND_COUNT):
        gain = _compute_gain(contact + bias_s, sd[0], own[0]) + _compute_gain(step, sd[1], own[1])
        gain += np.where(agree, 0.0, np.log(_OTHER_SIDE_SHARE))
        posterior, total = _compute_posterior(gain)
        bias_s, sd = _refit_parameters(contact, step, posterior, bias_s)
    rows = np.argmax(posterior, axis=0)
    columns = np.arange(len(reference))
    probability = posterior[rows, columns]
    others = np.maximum(posterior.sum(axis=0) - probability, 1e-30)
    log_odds = np.log(np.maximum(probability, 1e-300)) - np.log(others)
    kept = probability > 0.5
    apart = gain.copy()
    apart[rows[kept], columns[kept]] = -np.inf
    found = SequenceAlignment(
        rows[kept].astype(np.int64),
        columns[kept].astype(np.int64),
        log_odds[kept],
        np.zeros(0, dtype=np.int64),
        np.zeros(0, dtype=np.int64),
        total - _compute_posterior(apart)[1],
        bias_s,
        float(sd[0]),
    )
    return found, total - 0.5 * (bias_s / _BIAS_SD_S) ** 2


def _compute_own_log_density(reference: Durations) -> list[FloatArray]:
    """How well each duration is foretold by its neighbours in the reference."""
    out = []
    for values in (reference.contact_s, reference.step_s):
        expected = np.array([_interpolate_neighbours(values, i) for i in range(len(values))])
        residual = values - expected
        known = residual[np.isfinite(residual)]
        spread = MAD_TO_SD_RATIO * float(np.median(np.abs(known))) if len(known) else _USUAL_SD_S
        count = len(known)
        variance = count * spread**2 + _PRIOR_COUNT * _USUAL_SD_S**2
        sd = max(float(np.sqrt(variance / (count + _PRIOR_COUNT))), _LEAST_SD_S)
        out.append(_compute_log_density(residual, sd))
    return out


def _interpolate_neighbours(values: FloatArray, i: int) -> float:
    """What the same foot's neighbours on both sides, or the nearest ones, let expect."""
    before, after = values[max(i - 2, 0)] if i >= 2 else np.nan, np.nan
    if i + 2 < len(values):
        after = values[i + 2]
    if np.isfinite(before) and np.isfinite(after):
        return float(0.5 * (before + after))
    others = np.delete(values[max(i - 2, 0) : i + 3], min(i, 2))
    others = others[np.isfinite(others)]
    return float(np.median(others)) if len(others) else np.nan


def _compute_log_density(residual: FloatArray, sd: float) -> FloatArray:
    """Log of a normal density with some outliers; 0 where nothing is known."""
    normal = np.exp(-0.5 * (residual / sd) ** 2) / (sd * np.sqrt(2.0 * np.pi))
    density = (1.0 - _OUTLIER_SHARE) * normal + _OUTLIER_SHARE / _OUTLIER_WIDTH_S
    return np.where(np.isfinite(residual), np.log(density), 0.0)


def _compute_gain(residual: FloatArray, sd: float, own: FloatArray) -> FloatArray:
    """Log likelihood ratio of a pair against the reference by itself; 0 where unknown."""
    return np.where(np.isfinite(residual), _compute_log_density(residual, sd) - own[None, :], 0.0)


def _compute_posterior(gain: FloatArray) -> tuple[FloatArray, float]:
    """Probability of each pair over all alignments, and the log of their sum."""
    ahead = _run_forward(gain)
    behind = _run_forward(gain[::-1, ::-1])[::-1, ::-1]
    n, m = gain.shape
    i, j = np.meshgrid(np.arange(n), np.arange(m), indexing="ij")
    # A last pair is allowed where half of the shorter row is spanned from its start.
    both = ahead + behind - np.where(np.isfinite(gain), gain, 0.0)
    diagonal = i - j
    length = np.minimum(n, m + diagonal) - np.maximum(0, diagonal)
    both = np.where(length >= 0.5 * min(n, m), both, -np.inf)
    # Each alignment is counted once for each row of the reference: the sum over its pairs.
    total = float(np.logaddexp.reduce(_weigh_ends(ahead, length, min(n, m))))
    return np.exp(np.minimum(both - total, 0.0)), total


def _weigh_ends(ahead: FloatArray, length: FloatArray, shorter: int) -> FloatArray:
    """Log weights of the last pairs of alignments: those from which one row has run out."""
    n, m = ahead.shape
    left = np.minimum(n - 1 - np.arange(n)[:, None], m - 1 - np.arange(m)[None, :])
    weight = np.where(length >= 0.5 * shorter, ahead + left * 2.0 * np.log(_MISSED_SHARE), -np.inf)
    return weight.ravel()


def _run_forward(gain: FloatArray) -> FloatArray:
    """Log weight of all alignments that end with each pair."""
    n, m = gain.shape
    out = np.full((n, m), -np.inf)
    for i in range(n):
        # A first pair: what one row has before it beyond the other is outside, the rest is missed.
        total = np.minimum(i, np.arange(m)) * 2.0 * np.log(_MISSED_SHARE)
        for ours in range(min(_MOST_MISSING_COUNT, i - 1) + 1 if i else 0):
            for theirs in range(_MOST_MISSING_COUNT + 1):
                skipped = np.full(m, -np.inf)
                cost = (ours + theirs) * np.log(_MISSED_SHARE)
                skipped[theirs + 1 :] = out[i - 1 - ours, : m - 1 - theirs] + cost
                total = np.logaddexp(total, skipped)
        out[i] = total + gain[i]
    return out


def _refit_parameters(
    contact: FloatArray, step: FloatArray, posterior: FloatArray, bias_s: float
) -> tuple[float, FloatArray]:
    """Bias of contact times and scatter of both durations from the likely pairs."""
    known = np.isfinite(contact) & (np.abs(contact + bias_s) < 0.05)
    weight = np.where(known, posterior, 0.0)
    prior = _USUAL_SD_S**2 / _BIAS_SD_S**2
    bias = -float(np.sum(weight * np.nan_to_num(contact)) / (weight.sum() + prior))
    sds = []
    for residual in (contact + bias, step):
        used = np.where(np.isfinite(residual) & (np.abs(residual) < 0.04), posterior, 0.0)
        square = np.sum(used * np.nan_to_num(residual) ** 2) + _PRIOR_COUNT * _USUAL_SD_S**2
        sds.append(max(np.sqrt(square / (used.sum() + _PRIOR_COUNT)), _LEAST_SD_S))
    return bias, np.array(sds)
