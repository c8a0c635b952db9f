"""How far the clocks of shank and foot of one leg are apart, read off the ankle that both share.

The ankle is a point of the shank and a point of the foot: what an accelerometer there would read is
as large seen from either side, whatever the axes of the two sensors (idea of the joint's position
from such pairs: Seel, Raisch & Schauer 2014, Sensors 14:6891). Both lever arms and the lag of one
clock behind the other are solved for at once.

Below 10 Hz the ankle of real runners is joint enough for that. In 33 trials of 11 runners at 2.5 to
4.5 m/s, both legs (Fukuchi et al. 2017, open data; optical poses, made-up sensors) clocks that were
one came out -0.4 ms apart, SD 0.9 ms, at most 2.9 ms; in simulated sprints -0.6 ms, SD 0.2 ms. Up
to 15 Hz the same runners give -1.9 ms and SD 1.3 ms, up to 6 Hz SD 1.8 ms: markers and skin.

What was clipped, and what the low-pass spreads it over, is left out: in 12 of the trials gyroscopes
that end at 60 % of their peaks gave lags up to 5.8 ms with it and 2.3 ms without, accelerometers
that end at 40 % 6.7 and 2.4 ms.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.dsp.filters import choose_block, choose_odd_width, differentiate, low_pass, moving_max
from imuproc.dsp.medians import median
from imuproc.dsp.rotations import skew
from imuproc.files.settings_model import FUKUCHI, JUDGEMENT, StageSettings, number

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

_LEAST_HZ = 60.0
"""Slower signals do not hold what is compared."""
_WORK_HZ = 100.0
"""Rate of the thinned signals: far above their cut-off."""
_ROUNDS_COUNT = 25
"""The search ends after so many. Chosen: far more than it takes where a lag fits."""
_SETTLED_M_OR_S = 1e-5
"""The search has settled where neither levers (m) nor lag (s) move by more."""
_LONGEST_STEP_S = 0.02
"""Of the search, each round; so that it does not leap to another stride."""
_START_EVERY_S = 0.03
"""Where no lag near 0 fits, the search starts anew at so many others."""
_BLOCKS_COUNT = 8
"""Parts of an interval whose scatter tells the uncertainty."""
_LEAST_SAMPLES = 100
"""Fewer are too short to solve. Chosen: 1 s at `_WORK_HZ`."""


class LagSettings(StageSettings):
    """How the lag between shank and foot of one leg is solved for."""

    basis = f"chosen on {FUKUCHI}, both legs, and on simulated sprints"
    cutoff_hz: float = number(
        10.0,
        (2.0, 25.0),
        "Low-pass of both signals.",
        "in 33 trials lags scattered by 0.9 ms up to 10 Hz, 1.3 ms up to 15 and 1.8 ms up to 6 Hz",
    )
    lever_sd_m: float = number(
        0.15, (0.01, 2.0), "Standard deviation of each component of both lever arms."
    )
    huber: float = number(
        2.0,
        (0.5, 10.0),
        "Differences beyond this many times their usual size count less.",
        unit="",
    )
    least_usual_mps2: float = number(
        0.3, (0.001, 10.0), "The usual size of differences is taken to be no smaller."
    )
    longest_lag_s: float = number(0.25, (0.05, 1.0), "Largest lag that is looked for.")
    most_misfit: float = number(
        0.35,
        (0.01, 1.0),
        "Difference that is left, as a share of how the ankle's acceleration varies, beyond which "
        "nothing was found.",
        unit="",
    )
    least_size_mps2: float = number(
        1.5, (0.0, 50.0), "An ankle whose acceleration varies by less is not in motion."
    )
    smeared_s: float = number(
        0.02,
        (0.0, 0.5),
        "So far around a clipped sample nothing counts.",
        "about the time constant of the 10 Hz low-pass",
    )
    common_u_s: float = number(
        0.0011,
        (0.0, 0.1),
        "Standard uncertainty that all stretches of a leg have alike: the ankle is no perfect "
        "joint.",
        "lags of clocks that were one came out -0.4 ms, SD 0.9 ms in 33 trials",
    )
    stretch_u_s: float = number(0.0006, (0.0, 0.1), "The same of each stretch by itself.")
    most_apart_s: float = number(
        0.004,
        (0.0, 0.5),
        "Shank and foot whose clocks seem farther apart, beyond the doubt of that, are not on one.",
        "in 33 trials clocks that are one came out at most 2.9 ms apart",
    )
    compared_s: float = number(
        12.0, (1.0, 600.0), "So much of a run is compared at most.", JUDGEMENT
    )
    piece_s: float = number(
        2.5,
        (1.0, 60.0),
        "Where no lag fits all of a run, the middle one of pieces of this length is taken.",
        JUDGEMENT,
    )
    farthest_s: float = number(
        3.0,
        (0.0, 60.0),
        "A clock that jumped, or was started by hand, is off by about so much at most.",
        JUDGEMENT,
    )


@dataclass(frozen=True)
class Lag:
    """Lag of the foot's stamps behind the shank's over one interval.

    Parameters
    ----------
    lag_s : float
        Stamp of the foot minus stamp of the shank at the same instant.
    u_s : float
        Standard uncertainty by chance, from how parts of the interval agree.
    misfit : float
        Difference that is left, as a share of how the ankle's acceleration varies.
    """

    lag_s: float
    u_s: float
    misfit: float


@dataclass(frozen=True, eq=False)
class JointSignals:
    """What one segment says of a point on it: accel + turn @ lever.

    Parameters
    ----------
    accel_mps2 : ndarray, shape (n, 3)
    turn : ndarray, shape (n, 3, 3)
        In 1/s².
    known : ndarray of bool, shape (n,)
        False where something clipped is in it.
    rate_hz : float
    """

    accel_mps2: FloatArray
    turn: FloatArray
    known: BoolArray
    rate_hz: float

    def take(self, rows: slice) -> "JointSignals":
        """Some of the samples."""
        return JointSignals(self.accel_mps2[rows], self.turn[rows], self.known[rows], self.rate_hz)


def prepare_joint_signals(
    accel_mps2: FloatArray,
    gyro_radps: FloatArray,
    clipped: BoolArray,
    rate_hz: float,
    settings: LagSettings,
) -> JointSignals:
    """Smoothed and thinned signals of one segment; any fixed axes.

    Parameters
    ----------
    accel_mps2, gyro_radps : ndarray, shape (n, 3)
        Finite.
    clipped : ndarray of bool, shape (n,)
        Samples at the end of the range of either sensor.
    rate_hz : float
    settings : LagSettings

    Returns
    -------
    JointSignals
        At 100 Hz or little more.
    """
    every = choose_block(rate_hz, _WORK_HZ)
    accel = low_pass(accel_mps2, settings.cutoff_hz, rate_hz)[::every]
    gyro = low_pass(gyro_radps, settings.cutoff_hz, rate_hz)
    change = differentiate(gyro, rate_hz)[::every]
    across = skew(gyro[::every])
    width = choose_odd_width(2.0 * settings.smeared_s, rate_hz)
    spoilt = moving_max(clipped.astype(float), width) > 0.0
    return JointSignals(accel, skew(change) + across @ across, ~spoilt[::every], rate_hz / every)


def solve_joint_lag(
    shank: JointSignals, foot: JointSignals, settings: LagSettings, scan: bool = True
) -> Lag | None:
    """Lag of the foot's stamps behind the shank's.

    Parameters
    ----------
    shank, foot : JointSignals
        On grids of the same rate that begin at stamps taken to be the same instant.
    settings : LagSettings
    scan : bool
        Whether to look all over the allowed lags where none near 0 fits.

    Returns
    -------
    Lag or None
        None where the two do not move as parts of one leg, or hardly at all, and where too much is
        clipped.
    """
    margin = int(settings.longest_lag_s * shank.rate_hz) + 3
    count = min(len(shank.accel_mps2), len(foot.accel_mps2))
    if count - 2 * margin < _LEAST_SAMPLES or shank.rate_hz < _LEAST_HZ:
        return None
    rows = np.arange(margin, count - margin)
    best = _solve_from(shank, foot, rows, 0.0, settings)
    if best.misfit > settings.most_misfit and scan:
        reach = settings.longest_lag_s - _LONGEST_STEP_S
        starts = np.arange(-reach, reach + 1e-9, _START_EVERY_S)
        found = [_solve_from(shank, foot, rows, float(start), settings) for start in starts]
        best = min([best, *found], key=lambda lag: lag.misfit)
    edge = settings.longest_lag_s - 0.5 * _LONGEST_STEP_S
    usable = best.misfit <= settings.most_misfit and abs(best.lag_s) < edge
    return best if usable and np.isfinite(best.u_s) else None


def _solve_from(
    shank: JointSignals, foot: JointSignals, rows: IntArray, start_s: float, settings: LagSettings
) -> Lag:
    """Gauss-Newton for both levers and the lag, from one start; differences beyond count less."""
    # Samples along the last axis: arithmetic is several times as fast along a long one.
    flat = np.concatenate((foot.accel_mps2, foot.turn.reshape(-1, 9)), axis=1)
    both = np.ascontiguousarray(np.concatenate((flat, differentiate(flat, foot.rate_hz)), axis=1).T)
    accel = np.ascontiguousarray(shank.accel_mps2[rows].T)
    turn = np.ascontiguousarray(np.moveaxis(shank.turn[rows], 0, -1))
    levers, lag_s = np.zeros(6), start_s
    prior = np.diag([settings.lever_sd_m**-2] * 6 + [0.0])
    for _ in range(_ROUNDS_COUNT):
        there = _shift_columns(both, rows, lag_s * foot.rate_hz)
        known = shank.known[rows] & foot.known[rows + round(lag_s * foot.rate_hz)]
        if np.count_nonzero(known) < _LEAST_SAMPLES:
            return Lag(lag_s, np.inf, np.inf)
        sizes, rows_of = _compute_sizes(accel, turn, there, levers)
        left = sizes[0] - sizes[1]
        scatter = 1.4826 * float(median(np.abs(left[known])))
        usual = max(scatter, settings.least_usual_mps2)
        weight = known / np.maximum(1.0, np.abs(left) / (settings.huber * usual)) / usual**2
        normal = (weight * rows_of) @ rows_of.T + prior
        gradient = (rows_of * (weight * left)).T
        step = np.linalg.solve(
            normal + 1e-12 * np.eye(7), gradient.sum(axis=0) + prior @ np.append(levers, 0.0)
        )
        if not np.isfinite(step).all():  # samples of no size that a limb can move with
            return Lag(lag_s, np.inf, np.inf)
        levers = levers - step[:6]
        lag_s -= float(np.clip(step[6], -_LONGEST_STEP_S, _LONGEST_STEP_S))
        lag_s = float(np.clip(lag_s, -settings.longest_lag_s, settings.longest_lag_s))
        if np.abs(step).max() < _SETTLED_M_OR_S:
            break
    size = float(np.std(sizes[0][known]))
    moves = size > settings.least_size_mps2
    misfit = float(np.std(left[known])) / size if moves else np.inf
    return Lag(lag_s, _compute_chance_u_s(normal, gradient), misfit)


def _compute_sizes(
    accel: FloatArray, turn: FloatArray, there: FloatArray, levers: FloatArray
) -> tuple[list[FloatArray], FloatArray]:
    """Size of the ankle's acceleration as both tell it, (n,) each, and how the difference moves.

    The latter, shape (7, n), is per unit of both levers and of the lag.
    """
    turn_there, turn_slope = there[3:12].reshape(3, 3, -1), there[15:].reshape(3, 3, -1)
    here, other = accel + levers[:3] @ turn, there[:3] + levers[3:] @ turn_there
    moved = there[12:15] + levers[3:] @ turn_slope
    sizes = [np.sqrt((v * v).sum(axis=0)) for v in (here, other)]
    ways = [v / np.maximum(s, 1e-9) for v, s in zip((here, other), sizes, strict=True)]
    by_levers = (
        (ways[0][:, None] * turn).sum(axis=0),
        -(ways[1][:, None] * turn_there).sum(axis=0),
    )
    return sizes, np.vstack((*by_levers, -np.sum(ways[1] * moved, axis=0)))


def _shift_columns(values: FloatArray, rows: IntArray, at: float) -> FloatArray:
    """Columns shifted by a fraction of a sample, by a cubic through the four around each."""
    whole = int(np.floor(at))
    u = at - whole
    weights = (
        -u * (u - 1.0) * (u - 2.0) / 6.0,
        (u + 1.0) * (u - 1.0) * (u - 2.0) / 2.0,
        -(u + 1.0) * u * (u - 2.0) / 2.0,
        (u + 1.0) * u * (u - 1.0) / 6.0,
    )
    first, last = int(rows[0]) + whole, int(rows[-1]) + whole + 1  # rows follow one another
    parts = [
        w * values[:, first + k : last + k] for k, w in zip((-1, 0, 1, 2), weights, strict=True)
    ]
    return np.asarray(sum(parts))


def _compute_chance_u_s(normal: FloatArray, gradient: FloatArray) -> float:
    """Standard uncertainty of the lag from the scatter of blocks of samples (sandwich form)."""
    blocks = np.stack([part.sum(axis=0) for part in np.array_split(gradient, _BLOCKS_COUNT)])
    blocks -= blocks.mean(axis=0)
    spread = blocks.T @ blocks * _BLOCKS_COUNT / (_BLOCKS_COUNT - 1)
    inverse = np.linalg.inv(normal + 1e-12 * np.eye(7))
    return float(np.sqrt(max((inverse @ spread @ inverse)[6, 6], 0.0)))
