"""The truth beside a made-up or optical recording, computed apart from the estimators."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import inf, nan
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.integrate import trapezoid

from imuproc.core.sites import SIDES, Side, Site, foot_of, shank_of
from imuproc.synth.poses import PoseTrack

FloatArray = NDArray[np.float64]

# Windows of the swing figures, as shares of the swing counted back from its touchdown.
_MIN_DORSIFLEXION_SHARE: Final = 0.60
_MIN_PITCH_SHARE: Final = 0.25
_LATE_SHARE: Final = 0.40


@dataclass(frozen=True, eq=False)
class Truth:
    """What really happened, on one clock.

    Parameters
    ----------
    steps : DataFrame
        One row per contact in order of touchdown: ``step``, ``side`` and figures named as in
        :mod:`imuproc.core.columns`. NaN where the truth itself does not know.
    curves : DataFrame
        ``time_s`` and, for left and right, ``shin_angle_<side>_deg``, ``foot_pitch_<side>_deg``
        and ``dorsiflexion_<side>_deg``.
    departures_s : mapping from side to float
        Instant in s at which the foot left the ground or block before its first contact in
        ``steps``; NaN where unknown.
    valid_from_s, valid_to_s : float
        Stretch in which the recording is to be judged.
    """

    steps: pd.DataFrame
    curves: pd.DataFrame
    departures_s: Mapping[Side, float] = field(default_factory=dict)
    valid_from_s: float = -inf
    valid_to_s: float = inf

    def shift_clock(self, shift_s: float) -> "Truth":
        """Truth on a clock that reads ``shift_s`` more."""
        steps, curves = self.steps.copy(), self.curves.copy()
        for name in ("touchdown_s", "toe_off_s"):
            steps[name] = steps[name] + shift_s
        curves["time_s"] = curves["time_s"] + shift_s
        return replace(
            self,
            steps=steps,
            curves=curves,
            departures_s={side: t + shift_s for side, t in self.departures_s.items()},
            valid_from_s=self.valid_from_s + shift_s,
            valid_to_s=self.valid_to_s + shift_s,
        )


def compute_angle_curves(tracks: Mapping[Site, PoseTrack]) -> pd.DataFrame:
    """Shin angle, foot pitch and dorsiflexion of both sides from the poses.

    Parameters
    ----------
    tracks : mapping from Site to PoseTrack
        All on the same stamps. Angles whose segment is missing are NaN.

    Returns
    -------
    DataFrame
        As ``Truth.curves``: in deg, in the world's X-Z plane, continuous from the first sample.

    Raises
    ------
    ValueError
        If there is no track.
    """
    if not tracks:
        raise ValueError("angle curves need at least one track")
    time_s = next(iter(tracks.values())).time_s
    curves: dict[str, FloatArray] = {"time_s": time_s}
    for side in SIDES:
        shin = _compute_sagittal_deg(tracks.get(shank_of(side)), 2, len(time_s))
        pitch = _compute_sagittal_deg(tracks.get(foot_of(side)), 0, len(time_s))
        curves[f"shin_angle_{side}_deg"] = shin
        curves[f"foot_pitch_{side}_deg"] = pitch
        curves[f"dorsiflexion_{side}_deg"] = pitch + 90.0 - shin
    return pd.DataFrame(curves)


def _compute_sagittal_deg(track: PoseTrack | None, axis: int, n: int) -> FloatArray:
    """Angle of a segment axis from world X towards Z, in the X-Z plane, in deg."""
    if track is None:
        return np.full(n, nan)
    direction = track.rotation[:, :, axis]
    return np.asarray(np.degrees(np.unwrap(np.arctan2(direction[:, 2], direction[:, 0]))))


def derive_truth(
    events: pd.DataFrame,
    curves: pd.DataFrame,
    departures_s: Mapping[Side, float] | None = None,
    shank_length_m: float | None = None,
) -> Truth:
    """Every figure of the step table from known events and angle curves.

    Parameters
    ----------
    events : DataFrame
        One row per contact: ``side``, ``touchdown_s``, ``toe_off_s`` and, where known,
        ``ball_x_m``: place of the ball of the foot along the run while it bears the load.
    curves : DataFrame
        As ``Truth.curves``.
    departures_s : mapping from side to float, optional
        As in ``Truth``.
    shank_length_m : float, optional
        Ankle to knee, for ``ankle_ahead_of_knee_m``.

    Returns
    -------
    Truth
        Times between neighbouring contacts are NaN where both are of the same side.
    """
    departures = {side: float((departures_s or {}).get(side, nan)) for side in SIDES}
    ordered = events.sort_values("touchdown_s", ignore_index=True)
    figures = pd.DataFrame(
        {"step": np.arange(1, len(ordered) + 1), "side": ordered["side"].astype(str)}
    )
    for columns in (
        _compute_between_contacts(ordered),
        _compute_at_events(ordered, curves, shank_length_m),
        _compute_in_swing(ordered, curves, departures),
    ):
        for name, values in columns.items():
            figures[name] = values
    return Truth(figures, curves, departures)


def _compute_between_contacts(events: pd.DataFrame) -> dict[str, FloatArray]:
    """Times, frequency, length and speed of each step."""
    touchdown = events["touchdown_s"].to_numpy(dtype=np.float64)
    toe_off = events["toe_off_s"].to_numpy(dtype=np.float64)
    side = events["side"].to_numpy()
    place = (
        events["ball_x_m"].to_numpy(dtype=np.float64)
        if "ball_x_m" in events
        else np.full(len(events), nan)
    )
    alternates = np.append(side[1:] != side[:-1], False)

    def measure_until_next(later: FloatArray, now: FloatArray) -> FloatArray:
        return np.where(alternates, np.append(later[1:], nan) - now, nan)

    step_time = measure_until_next(touchdown, touchdown)
    length = measure_until_next(place, place)
    return {
        "touchdown_s": touchdown,
        "toe_off_s": toe_off,
        "contact_time_s": toe_off - touchdown,
        "flight_time_s": measure_until_next(touchdown, toe_off),
        "step_time_s": step_time,
        "step_frequency_hz": 1.0 / step_time,
        "step_length_m": length,
        "speed_mps": length / step_time,
    }


def _compute_at_events(
    events: pd.DataFrame, curves: pd.DataFrame, shank_length_m: float | None
) -> dict[str, FloatArray]:
    """Angles at touchdown and toe-off, by interpolation of the curves."""

    def interpolate_at(figure: str, event: str) -> FloatArray:
        out = np.full(len(events), nan)
        for side in SIDES:
            rows = (events["side"] == side).to_numpy()
            out[rows] = np.interp(
                events[event].to_numpy(dtype=np.float64)[rows],
                curves["time_s"].to_numpy(),
                curves[f"{figure}_{side}_deg"].to_numpy(),
                left=nan,
                right=nan,
            )
        return out

    shin = interpolate_at("shin_angle", "touchdown_s")
    length = nan if shank_length_m is None else shank_length_m
    return {
        "shin_angle_touchdown_deg": shin,
        "shin_angle_toe_off_deg": interpolate_at("shin_angle", "toe_off_s"),
        # The knee is ahead of the ankle by length * cos(shin angle).
        "ankle_ahead_of_knee_m": -length * np.cos(np.radians(shin)),
        "foot_pitch_touchdown_deg": interpolate_at("foot_pitch", "touchdown_s"),
        "foot_pitch_toe_off_deg": interpolate_at("foot_pitch", "toe_off_s"),
        "dorsiflexion_touchdown_deg": interpolate_at("dorsiflexion", "touchdown_s"),
    }


def _compute_in_swing(
    events: pd.DataFrame, curves: pd.DataFrame, departures_s: Mapping[Side, float]
) -> dict[str, FloatArray]:
    """Figures of the swing that ends at each touchdown."""
    names = (
        "foot_pitch_swing_min_deg",
        "foot_pitch_swing_max_deg",
        "dorsiflexion_swing_min_deg",
        "dorsiflexion_swing_mean_deg",
    )
    out = {name: np.full(len(events), nan) for name in names}
    time_s = curves["time_s"].to_numpy(dtype=np.float64)
    for side in SIDES:
        pitch = curves[f"foot_pitch_{side}_deg"].to_numpy(dtype=np.float64)
        bend = curves[f"dorsiflexion_{side}_deg"].to_numpy(dtype=np.float64)
        left_ground = departures_s[side]
        for row in np.flatnonzero((events["side"] == side).to_numpy()):
            touchdown = float(events["touchdown_s"].iloc[row])
            swing = touchdown - left_ground
            if swing > 0.0:
                late = _cut_window(time_s, pitch, touchdown - _MIN_PITCH_SHARE * swing, touchdown)
                out["foot_pitch_swing_min_deg"][row] = late[1].min()
                late = _cut_window(time_s, pitch, touchdown - _LATE_SHARE * swing, touchdown)
                out["foot_pitch_swing_max_deg"][row] = late[1].max()
                late = _cut_window(
                    time_s, bend, touchdown - _MIN_DORSIFLEXION_SHARE * swing, touchdown
                )
                out["dorsiflexion_swing_min_deg"][row] = late[1].min()
                at, value = _cut_window(time_s, bend, touchdown - _LATE_SHARE * swing, touchdown)
                out["dorsiflexion_swing_mean_deg"][row] = trapezoid(value, at) / np.ptp(at)
            left_ground = float(events["toe_off_s"].iloc[row])
    return out


def _cut_window(
    time_s: FloatArray, curve: FloatArray, start_s: float, end_s: float
) -> tuple[FloatArray, FloatArray]:
    """Samples within a window, with interpolated values at both ends; NaN outside the curve."""
    inside = (time_s > start_s) & (time_s < end_s)
    at = np.concatenate(([start_s], time_s[inside], [end_s]))
    return at, np.interp(at, time_s, curve, left=nan, right=nan)
