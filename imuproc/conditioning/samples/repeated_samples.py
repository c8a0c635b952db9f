"""Runs in which a whole sensor repeats one sample, as loggers fill what a radio link lost.

A limb at rest repeats itself too where a sensor's steps are coarse. Then axes seldom change near by
either, and the limb goes on from there without a jump; repeats in place of others hide noise or
motion.
A sensor that is written faster than it samples repeats each sample a few times: only what lasts
longer stands for lost samples.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.samples.sample_and_hold import count_usual_rows, is_same_on_all_axes
from imuproc.core.recording import SensorLog
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.mask_runs import find_mask_runs
from imuproc.files.settings_model import JUDGEMENT, StageSettings, number

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

_AXES_COUNT: Final = 6
_AROUND_AT_LEAST_SAMPLES: Final = 4
"""Fewer samples before or after a run do not tell how often its axes change."""


class RepeatSettings(StageSettings):
    """When a repeated sample is taken for missing."""

    basis = f"{JUDGEMENT}; tried on 96 sound logs of each of seven sizes of a sensor's step"
    longest_s: float = number(
        0.008, (0.0, 1.0), "A sensor does not repeat a sample for longer, and not more than once."
    )
    longest_at_rest_s: float = number(
        0.25,
        (0.0, 10.0),
        "The same where the limb is at rest before and after: less hides no step, and standing is "
        "the same with it and without. Nor are all axes at the end of their range for longer.",
    )
    rest_mps2: float = number(
        1.0, (0.0, 20.0), "At rest no axis of the accelerometer changes by more near by."
    )
    rest_radps: float = number(
        0.2, (0.0, 5.0), "At rest no axis of the gyroscope changes by more near by."
    )
    rest_turn_radps: float = number(0.35, (0.0, 5.0), "At rest a gyroscope reads less than this.")
    rest_force_mps2: float = number(
        2.0, (0.0, 20.0), "At rest an accelerometer reads gravity to within this."
    )
    jump_mps2: float = number(
        5.0,
        (0.0, 200.0),
        "A limb that goes on from rest does not jump by more from one sample to the next.",
    )
    jump_radps: float = number(2.0, (0.0, 50.0), "The same for the angular velocity.")
    jump_ratio: float = number(
        3.0,
        (1.0, 100.0),
        "A step out of a stretch that is larger than those around it by this factor hides others.",
    )
    around_s: float = number(0.05, (0.005, 1.0), "What is looked at before and after a stretch.")
    counted_samples: int = number(
        4,
        (1, 50),
        "So many repeats count: at rest a sensor may stay between two of its steps for long.",
    )
    unlikely_log: float = number(
        -20.0,
        (-100.0, 0.0),
        "Natural logarithm of the chance of so many repeats below which they are no chance.",
        "chosen: once in 5e8 samples",
        unit="",
    )


@dataclass(frozen=True, eq=False)
class _RepeatRuns:
    """Stretches of repeats: the sample that is repeated, and its last repeat."""

    values: FloatArray
    first: IntArray
    last: IntArray
    around: int

    def take_before(self) -> FloatArray:
        """Samples up to the one that is repeated, shape (k, around, 6); the first one repeats."""
        return self._take_rows(self.first[:, None] - np.arange(self.around))

    def take_after(self) -> FloatArray:
        """Samples that follow; the last one of the log repeats."""
        return self._take_rows(self.last[:, None] + 1 + np.arange(self.around))

    def _take_rows(self, rows: IntArray) -> FloatArray:
        return np.asarray(self.values[np.clip(rows, 0, len(self.values) - 1)])


def is_same_as_before(values: FloatArray) -> BoolArray:
    """Which values are equal to those of the sample before, shape (n, k) to (n - 1, k)."""
    return np.asarray(values[1:] == values[:-1])


def find_repeated_samples(
    log: SensorLog, same: tuple[BoolArray, BoolArray], period_s: float, settings: RepeatSettings
) -> BoolArray:
    """Samples that only repeat the one before and stand for others.

    Parameters
    ----------
    log : SensorLog
    same : tuple of ndarray of bool, shape (n - 1, 3)
        :func:`is_same_as_before` of acceleration and angular velocity.
    period_s : float
        Sampling period of the log.
    settings : RepeatSettings

    Returns
    -------
    ndarray of bool, shape (n,)
        The sample that is repeated is none of them.
    """
    repeated = np.zeros(len(log.time_s), dtype=bool)
    repeats = is_same_on_all_axes(same[0]) & is_same_on_all_axes(same[1])
    if np.count_nonzero(repeats) < 2:
        return repeated  # nearly always: next to nothing is spent on a sound log
    first, last = find_mask_runs(repeats)
    count = last - first
    long = (count > 1) & (count * period_s > settings.longest_s)
    long &= count + 1 > 2.0 * count_usual_rows(repeats)
    # Exact copies of a sample have its stamp as well, and are no matter of time.
    long &= log.time_s[last] > log.time_s[first]
    if not long.any():
        return repeated
    runs = _RepeatRuns(
        np.concatenate((log.accel_mps2, log.gyro_radps), axis=1),
        first[long],
        last[long],
        max(round(settings.around_s / period_s), _AROUND_AT_LEAST_SAMPLES),
    )
    changed = ~np.concatenate(same, axis=1)
    found = _is_unlikely(runs, changed, settings)
    found &= ~_is_coming_to_rest(runs, changed, settings)
    found |= _has_jump(runs, settings)
    near = np.concatenate((runs.take_before(), runs.take_after()), axis=1)
    calm = _changes_within(near, settings.rest_mps2, settings.rest_radps)
    short = count[long] * period_s <= settings.longest_at_rest_s
    found &= ~(short & (calm | _is_clipped(runs)))
    for a, b in zip(first[long][found], last[long][found], strict=True):  # over runs
        repeated[a + 1 : b + 1] = True
    return repeated


def _changes_within(near: FloatArray, accel_mps2: float, gyro_radps: float) -> BoolArray:
    """Whether no axis changes by more, shape (k, m, 6) to (k,)."""
    spread = np.fmax.reduce(near, axis=1) - np.fmin.reduce(near, axis=1)
    return np.asarray((spread < np.repeat([accel_mps2, gyro_radps], 3)).all(axis=1))


def _is_coming_to_rest(
    runs: _RepeatRuns, changed: BoolArray, settings: RepeatSettings
) -> BoolArray:
    """Where a sensor without visible noise may repeat itself although it does not near by.

    The value is one of rest, to which the limb did not come from fast motion or from which it goes
    on, and no noise is seen where it is at rest near by: most axes going to and fro.
    """
    value = runs.values[runs.first]
    force = np.linalg.norm(value[:, :3], axis=1) - STANDARD_GRAVITY_MPS2
    rest = np.linalg.norm(value[:, 3:], axis=1) < settings.rest_turn_radps
    rest &= np.abs(force) < settings.rest_force_mps2
    before, after = runs.take_before(), runs.take_after()
    begins, ends = runs.first == 0, runs.last == len(changed)
    rest &= ~ends | (~begins & _changes_within(before, settings.jump_mps2, settings.jump_radps))
    counted = np.arange(settings.counted_samples)
    for near, known, rows in (
        (before, ~begins, runs.first[:, None] - 1 - counted),
        (after, ~ends, runs.last[:, None] + counted),
    ):
        steps = np.diff(near, axis=1)
        noisy = np.count_nonzero((steps[:, 1:] * steps[:, :-1]).sum(axis=1) < 0.0, axis=1) >= 4
        noisy &= changed[np.clip(rows, 0, len(changed) - 1)].mean(axis=(1, 2)) > 0.5
        rest &= ~(known & noisy & _changes_within(near, settings.rest_mps2, settings.rest_radps))
    return np.asarray(rest)


def _is_unlikely(runs: _RepeatRuns, changed: BoolArray, settings: RepeatSettings) -> BoolArray:
    """Whether axes change so often, before and after, that no sensor repeats itself by chance.

    Parameters
    ----------
    runs : _RepeatRuns
    changed : ndarray of bool, shape (n - 1, 6)
        Whether a value is not that of the sample before.
    settings : RepeatSettings
    """
    first, last = runs.first, runs.last
    steps = len(changed)
    sums = np.zeros((steps + 1, _AXES_COUNT + 1), dtype=np.int64)
    np.cumsum(np.column_stack((changed, changed.any(axis=1))), axis=0, out=sums[1:])
    chance = np.full(len(first), -np.inf)
    for a, b in (
        (np.maximum(first - runs.around, 0), first),
        (last, np.minimum(last + runs.around, steps)),
    ):
        # Repeats of all axes do not count: others may stand for lost samples too.
        counts = sums[b] - sums[a]
        kept = (counts[:, -1:] - counts[:, :-1] + 0.5) / (counts[:, -1:] + 1.0)
        chance = np.fmax(chance, np.where(b > a, np.log(kept).sum(axis=1), -np.inf))
    known = (first > 0) | (last < steps)
    repeats = np.minimum(last - first, settings.counted_samples)
    return np.asarray(known & (repeats * chance < settings.unlikely_log))


def _has_jump(runs: _RepeatRuns, settings: RepeatSettings) -> BoolArray:
    """Whether any axis goes on with a jump, far larger than its steps before and after."""
    limit = np.repeat([settings.jump_mps2, settings.jump_radps], 3)
    before, after = runs.take_before()[:, :3], runs.take_after()[:, :3]
    steps = np.abs(np.concatenate((np.diff(before, axis=1), np.diff(after, axis=1)), axis=1))
    out, largest = np.abs(after[:, 0] - before[:, 0]), np.fmax.reduce(steps, axis=1)
    return np.asarray(((out > limit) & (out > settings.jump_ratio * largest)).any(axis=1))


def _is_clipped(runs: _RepeatRuns) -> BoolArray:
    """Whether all axes are at the end of their range."""
    ends = np.fmax.reduce(runs.values), np.fmin.reduce(runs.values)
    value = runs.values[runs.first]
    return np.asarray(((value == ends[0]) | (value == ends[1])).all(axis=1))
