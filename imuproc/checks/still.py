"""What a sensor reads at rest: gravity, noise, offset, and whether it lies or is worn."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import degrees, isfinite, log, nan, sqrt
from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.signal import detrend

from imuproc.checks.findings import Reason, StillKind, Stillness
from imuproc.checks.settings import CheckSettings
from imuproc.conditioning.axes.stillness import find_rests
from imuproc.core.flag_policy import policy_of
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Interval
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.allan import AllanReading, compute_allan_curve, read_allan
from imuproc.dsp.filters import find_finite_rows
from imuproc.dsp.rotations import norm
from imuproc.events.progress import Track

FloatArray = NDArray[np.float64]

_BAND_HZ: Final = (15.0, 45.0)
_MOST_OF_RATE_SHARE: Final = 0.45
"""Bodies tremble at 8 to 12 Hz and hardly above (from memory); near half the rate filters bite."""
_EDGE_S: Final = 0.1
"""Left off at either end of a still part, where movement begins or ends; chosen, no source."""
_LONG_S: Final = 2.0
"""Shortest still part whose offset is compared with others'; chosen: shorter ones may sway."""
_SWAY_TAU_S: Final = 0.5
"""Averaging time of the Allan deviation that tells sway from noise; chosen, no source."""
_FEWEST_FOR_ALLAN_COUNT: Final = 500
"""Samples below which no Allan curve is read; chosen: 5 s at 100 Hz."""
_MOST_SECONDS_COUNT: Final = 300
"""Seconds of stillness that noise is read from; chosen: five minutes tell as much as hours."""


@dataclass(frozen=True, eq=False)
class _Part:
    """One still interval: its own time, and signals without a gap."""

    span: Interval
    accel: FloatArray
    gyro: FloatArray
    rate_hz: float

    @property
    def signals(self) -> FloatArray:
        """Both, shape (n, 6): gyroscope first."""
        return np.concatenate((self.gyro, self.accel), axis=1)


def check_stillness(tracks: Sequence[Track], settings: CheckSettings) -> Stillness:
    """What one sensor reads at rest.

    Parameters
    ----------
    tracks : sequence of Track
        Its signals thinned to about 100 Hz.
    settings : CheckSettings

    Returns
    -------
    Stillness
        ``kind`` as this sensor alone tells it.
    """
    parts = [part for track in tracks for part in _find_still_parts(track, settings)]
    if not parts:
        return Stillness()
    noise = _measure_noise(parts, settings)
    kinds = [_classify_stillness(part, noise, settings) for part in parts]
    weight = np.array([part.span.duration_s for part in parts])
    accel = np.array([part.accel.mean(axis=0) for part in parts])
    longest = int(np.argmax(weight))
    up = accel[longest] / norm(accel[longest : longest + 1])[0]
    lying = [part for part, kind in zip(parts, kinds, strict=True) if kind == "lying"]
    gyro_allan, accel_allan = _read_largest_allan(lying, settings)
    bias, change = _measure_bias(parts, weight)
    return Stillness(
        kind="worn" if "worn" in kinds else "lying" if lying else "unsure",
        intervals=tuple(part.span for part in parts),
        still_s=float(weight.sum()),
        gravity_mps2=float(np.average(norm(accel), weights=weight)),
        up=(float(up[0]), float(up[1]), float(up[2])),
        gyro_noise_radps_rthz=float(noise[:3].max()),
        accel_noise_mps2_rthz=float(noise[3:].max()),
        gyro_bias_radps=bias,
        gyro_bias_change_radps=change,
        gyro_allan=gyro_allan,
        accel_allan=accel_allan,
    )


def _find_still_parts(track: Track, settings: CheckSettings) -> list[_Part]:
    stillness = settings.method.calibration.stillness
    nothing = not np.nan_to_num(track.accel_mps2).any()  # it was off: no gravity to be still in
    if nothing or not find_finite_rows(track.gyro_radps).any():
        return []
    found = find_rests(track.time_s, track.accel_mps2, track.gyro_radps, track.rate_hz, stillness)
    parts = []
    for span in found:
        inner = track.slice_between(span.start_s + _EDGE_S, span.end_s - _EDGE_S)
        good = find_finite_rows(inner.accel_mps2) & find_finite_rows(inner.gyro_radps)
        if good.sum() >= 3:
            signals = inner.accel_mps2[good], inner.gyro_radps[good]
            parts.append(_Part(span, *signals, track.rate_hz))
    return parts


def _measure_noise(parts: Sequence[_Part], settings: CheckSettings) -> FloatArray:
    """White noise N of the six axes, gyroscope first, shape (6,); NaN where stillness is too short.

    The median over overlapping seconds and over the band: a heart-beat, a knock or a hum of the
    mains is not taken for noise of the sensor.
    """
    rate_hz = parts[0].rate_hz
    length = int(rate_hz)
    long = [p.signals for p in parts if len(p.gyro) >= settings.noise_needs_s * rate_hz]
    if not long:
        return np.full(6, nan)
    seconds = np.concatenate(
        [sliding_window_view(signals, length, axis=0)[:: length // 2] for signals in long]
    )
    chosen = np.linspace(0, len(seconds) - 1, min(len(seconds), _MOST_SECONDS_COUNT)).astype(int)
    flat = detrend(seconds[chosen], axis=-1) * np.hanning(length)
    power = np.abs(np.fft.rfft(flat, axis=-1)) ** 2 / (rate_hz * np.sum(np.hanning(length) ** 2))
    frequency = np.fft.rfftfreq(length, 1.0 / rate_hz)
    top = min(_BAND_HZ[1], _MOST_OF_RATE_SHARE * rate_hz)
    band = (frequency >= _BAND_HZ[0]) & (frequency <= top)
    # Power of white noise is exponentially distributed: its median is ln 2 of its mean.
    middle = np.median(np.moveaxis(power[..., band], 1, -1).reshape(-1, 6), axis=0)
    return np.asarray(np.sqrt(middle / log(2.0)))


def _classify_stillness(part: _Part, noise: FloatArray, settings: CheckSettings) -> StillKind:
    """Whether a sensor lay, or was on a body that sways."""
    if part.span.duration_s < settings.lying_needs_s or not np.isfinite(noise).all():
        return "unsure"
    m = max(1, round(_SWAY_TAU_S * part.rate_hz))
    total = np.cumsum(part.signals - part.signals.mean(axis=0), axis=0)
    second = total[2 * m :] - 2.0 * total[m:-m] + total[: -2 * m]
    allan_deviation = np.sqrt(np.mean(second**2, axis=0) / 2.0) / m
    least = np.repeat([settings.lying_least_radps, settings.lying_least_mps2], 3)
    bound = np.maximum(settings.lying_ratio * noise / sqrt(m / part.rate_hz), least)
    return "lying" if bool((allan_deviation <= bound).all()) else "worn"


def _measure_bias(
    parts: Sequence[_Part], weight: FloatArray
) -> tuple[tuple[float, float, float], float]:
    """Mean rate at rest, and its largest change between intervals that are long enough to tell."""
    means = np.array([part.gyro.mean(axis=0) for part in parts])
    bias = np.average(means, axis=0, weights=weight)
    # A slow sink into the set position, or sway in a short interval, is no change of the offset.
    long = means[weight >= _LONG_S]
    change = float(np.ptp(long, axis=0).max()) if len(long) > 1 else nan
    return (float(bias[0]), float(bias[1]), float(bias[2])), change


def _read_largest_allan(
    lying: Sequence[_Part], settings: CheckSettings
) -> tuple[AllanReading, AllanReading]:
    """Readings of gyroscope and accelerometer from the longest interval of lying still."""
    longest = max(lying, key=lambda part: len(part.gyro), default=None)
    if longest is None or len(longest.gyro) < _FEWEST_FOR_ALLAN_COUNT:
        return AllanReading(), AllanReading()
    return tuple(  # type: ignore[return-value] # two of them
        _take_largest(
            [
                read_allan(compute_allan_curve(signal[:, axis], longest.rate_hz), settings.allan)
                for axis in range(3)
            ]
        )
        for signal in (longest.gyro, longest.accel)
    )


def _take_largest(readings: Sequence[AllanReading]) -> AllanReading:
    """The largest of each coefficient, NaN where any axis could not be read."""
    return AllanReading(
        white_noise=max_or_nan([r.white_noise for r in readings]),
        bias_instability=max_or_nan([r.bias_instability for r in readings]),
        bias_instability_at_most=max_or_nan([r.bias_instability_at_most for r in readings]),
        rate_walk=max_or_nan([r.rate_walk for r in readings]),
        longest_tau_s=readings[0].longest_tau_s,
    )


def max_or_nan(values: Sequence[float]) -> float:
    """The largest value, NaN where one is missing."""
    return float(np.max(values))


def mark_worn_together(stills: Sequence[Stillness]) -> list[Stillness]:
    """Stillness of all sensors of a recording: a foot is as still as a table while its leg sways.

    Parameters
    ----------
    stills : sequence of Stillness

    Returns
    -------
    list of Stillness
        All ``worn`` where one is; what was read off lying still is then taken back.
    """
    if not any(still.kind == "worn" for still in stills):
        return list(stills)
    none = AllanReading()
    return [
        replace(still, kind="worn", gyro_allan=none, accel_allan=none)
        if still.kind != "none"
        else still
        for still in stills
    ]


def list_stillness_reasons(
    still: Stillness, expected: bool, settings: CheckSettings
) -> list[Reason]:
    """What is wrong with noise and offset, or why they are not known.

    Parameters
    ----------
    still : Stillness
    expected : bool
        Whether it should have been still: other sensors were, or nobody ran.
    settings : CheckSettings

    Returns
    -------
    list of Reason
    """
    if not isfinite(still.gyro_noise_radps_rthz):
        advice = f"Let it lie still for {settings.advised_still_s:g} s before the session."
        text = "It was never still for long, so its noise is not known."
        if not expected:
            return [Reason("note", text, advice)]
        return [Reason("limit", f"{text} It shook, or its noise is very large.", advice)]
    reasons = _list_noise_reasons(still, settings)
    bias = float(np.max(np.abs(still.gyro_bias_radps)))
    if bias > settings.gyro_bias_radps:
        text = f"The gyroscope reads up to {degrees(bias):.1f} deg/s at rest."
        reasons.append(Reason("limit", text, "Calibrate it, or have it checked."))
    if still.gyro_bias_change_radps > settings.gyro_bias_change_radps:
        by_degps = degrees(still.gyro_bias_change_radps)
        text = (
            f"The gyroscope's reading at rest changed by {by_degps:.1f} deg/s between still "
            "stretches."
        )
        advice = "Let it warm up for some minutes; if it goes on, have it checked."
        moved = RaisedFlag("gyro_zero_moved", {"by_degps": by_degps})
        reasons.append(Reason(policy_of(moved.name).check, text, advice, moved))
    return reasons


def _list_noise_reasons(still: Stillness, settings: CheckSettings) -> list[Reason]:
    milli_g = 1e-3 * STANDARD_GRAVITY_MPS2
    kinds = (
        (
            "gyroscope",
            degrees(still.gyro_noise_radps_rthz),
            degrees(settings.gyro_noise_radps_rthz),
            degrees(settings.gyro_noise_unfit_radps_rthz),
            "deg/s/√Hz",
        ),
        (
            "accelerometer",
            still.accel_noise_mps2_rthz / milli_g,
            settings.accel_noise_mps2_rthz / milli_g,
            settings.accel_noise_unfit_mps2_rthz / milli_g,
            "mg/√Hz",
        ),
    )
    reasons = []
    for name, found, most, unfit, unit in kinds:
        if isfinite(found) and found > most:
            text = f"The {name}'s noise at rest is {found:.2g} {unit}; {most:.2g} and less is good."
            advice = "Lay it on something that does not shake and check again; else replace it."
            reasons.append(Reason("unfit" if found > unfit else "limit", text, advice))
    return reasons
