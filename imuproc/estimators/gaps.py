"""Missing samples, and what the figures near them are worth.

While a sensor turned on its limb nothing of the limb was measured either. A gap is bridged by a
straight line so that integration can go on. How wrong that is, the motion around it tells:
the same line is tried wherever the samples exist.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.flags import RaisedFlag
from imuproc.core.motion import Motion
from imuproc.core.recording import Conditioned, ConditionedRecording, Slip
from imuproc.core.sites import SIDES, Side, Site, foot_of, shank_of, side_of
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.bridging import find_bridges
from imuproc.files.settings_model import TRIED, StageSettings, number

FloatArray = NDArray[np.float64]


class GapSettings(StageSettings):
    """What missing and clipped samples do to the figures near them."""

    basis = TRIED
    near_event_s: float = number(
        0.04, (0.0, 1.0), "Samples that are nearer to an event than this make it less certain."
    )
    clipped_u_share: float = number(
        0.4,
        (0.0, 5.0),
        "Standard uncertainty of an event, as a share of the clipped time nearby: events are read "
        "off the rate.",
    )
    matters_s: float = number(
        0.01, (0.0, 1.0), "Shorter gaps are bridged to within a tenth of a degree."
    )
    longest_swing_s: float = number(
        0.7,
        (0.05, 5.0),
        "A gap counts for no longer than this at an event, and a foot's first swing in a run for "
        "as long.",
    )


@dataclass(frozen=True, eq=False)
class Gaps:
    """Gaps of one sensor.

    Parameters
    ----------
    start_s, end_s : ndarray, shape (k,)
        Last sample before and first sample after each gap in s.
    angle_u_rad : ndarray, shape (k,)
        Standard uncertainty that bridging adds to the sagittal angle in rad.
    anchor_s : ndarray, shape (a,)
        Rests and mid-stances in s: what a gap does to the angle ends there.
    accel_clipped_s, gyro_clipped_s : ndarray, shape (c,)
        Samples at the end of the range in s.
    gyro_hidden_rad : ndarray, shape (c,)
        Rotation that each of the latter may hide.
    accel_unseen_mps2 : float
        What each clipped sample of the accelerometer may hide.
    period_s : float
        Time that each sample stands for.
    settings : GapSettings
    slip : Slip or None
        A turn on the limb: it is the last of the gaps.
    """

    start_s: FloatArray
    end_s: FloatArray
    angle_u_rad: FloatArray
    anchor_s: FloatArray
    accel_clipped_s: FloatArray
    gyro_clipped_s: FloatArray
    gyro_hidden_rad: FloatArray
    accel_unseen_mps2: float
    period_s: float
    settings: GapSettings
    slip: Slip | None = None

    def compute_angle_part_rad(self, time_s: FloatArray) -> FloatArray:
        """Standard uncertainty of the angle from gaps at given times in rad, shape (n,)."""
        variance = np.zeros(len(time_s))
        for start, end, u in zip(self.start_s, self.end_s, self.angle_u_rad, strict=True):
            before = self.anchor_s[self.anchor_s <= start].max(initial=-np.inf)
            after = self.anchor_s[self.anchor_s >= end].min(initial=np.inf)
            variance[(time_s > before) & (time_s < after)] += u**2
        return np.sqrt(variance)

    def measure_within_s(self, start_s: FloatArray, end_s: FloatArray) -> FloatArray:
        """How much of each stretch of time is missing in s, shape (m,)."""
        return np.asarray(np.maximum(self._measure_overlap_s(start_s, end_s), 0.0).sum(axis=1))

    def measure_touching_s(self, start_s: FloatArray, end_s: FloatArray) -> FloatArray:
        """Whole length of the gaps that reach into each stretch of time in s, shape (m,)."""
        length = np.minimum(self.end_s - self.start_s, self.settings.longest_swing_s)
        return np.asarray(
            np.where(self._measure_overlap_s(start_s, end_s) > 0.0, length, 0.0).sum(axis=1)
        )

    def measure_clipped_s(self, time_s: FloatArray) -> FloatArray:
        """For how long the gyroscope was clipped near given times in s, shape (m,)."""
        ends = (time_s - self.settings.near_event_s, time_s + self.settings.near_event_s)
        first, last = (np.searchsorted(self.gyro_clipped_s, end) for end in ends)
        return np.asarray((last - first) * self.period_s)

    def _measure_overlap_s(self, start_s: FloatArray, end_s: FloatArray) -> FloatArray:
        first, last = np.maximum(self.start_s, start_s[:, None]), end_s[:, None]
        return np.asarray(np.minimum(self.end_s, last) - first)


def find_gaps(
    conditioned: ConditionedRecording,
    contacts: Contacts,
    settings: GapSettings,
    unseen_accel_sd_mps2: float,
) -> dict[Site, Gaps]:
    """Gaps of every sensor of a run.

    Parameters
    ----------
    conditioned : ConditionedRecording
    contacts : Contacts
    settings : GapSettings
    unseen_accel_sd_mps2 : float
        What a clipped sample of an accelerometer may hide.

    Returns
    -------
    dict from Site to Gaps
        With no gap in most cases.
    """
    time_s = conditioned.time_s
    out: dict[Site, Gaps] = {}
    for site, segment in conditioned.segments.items():
        rate = segment.gyro_radps[:, 1]
        bridges = find_bridges(rate, segment.measured, conditioned.rate_hz)
        u = np.minimum(bridges.error, np.pi)
        start_s, end_s = time_s[bridges.first], time_s[bridges.last]
        # A log that begins late or ends early has nothing on the other side of the gap.
        start_s[~segment.measured[bridges.first]] = -np.inf
        end_s[~segment.measured[bridges.last]] = np.inf
        slip = segment.calibration.slip
        slips = () if slip is None else (slip,)
        out[site] = Gaps(
            np.append(start_s, [s.start_s for s in slips]),
            np.append(end_s, [s.end_s for s in slips]),
            np.append(u, [s.angle_rad for s in slips]),
            _list_anchors(segment, contacts),
            time_s[segment.accel_clipped],
            time_s[segment.gyro_clipped],
            segment.compute_hidden_rate_radps()[segment.gyro_clipped] / conditioned.rate_hz,
            unseen_accel_sd_mps2,
            1.0 / conditioned.rate_hz,
            settings,
            slip,
        )
    return out


def _list_anchors(segment: Conditioned, contacts: Contacts) -> FloatArray:
    own = contacts.take(contacts.side == side_of(segment.site))
    rests = [edge for rest in segment.calibration.rests for edge in (rest.start_s, rest.end_s)]
    return np.concatenate((0.5 * (own.touchdown_s + own.toe_off_s), rests))


def widen_near_gaps(contacts: Contacts, gaps: Mapping[Site, Gaps]) -> Contacts:
    """Contacts whose events near a gap of their sensor are as uncertain as the gap is long.

    Near clipped samples of the gyroscope they are uncertain by a share of the clipped time.

    Parameters
    ----------
    contacts : Contacts
    gaps : mapping from Site to Gaps

    Returns
    -------
    Contacts
    """
    names = ("touchdown_u_s", "toe_off_u_s")
    widened_u = {name: getattr(contacts, name).copy() for name in names}
    for side in SIDES:
        rows = contacts.side == side
        seen = gaps.get(foot_of(side), gaps.get(shank_of(side)))
        if seen is None or not rows.any():
            continue
        for name, event_s in zip(names, (contacts.touchdown_s, contacts.toe_off_s), strict=True):
            at = event_s[rows]
            near_s, clipped_s = seen.settings.near_event_s, seen.measure_clipped_s(at)
            blind = 0.5 * seen.measure_touching_s(at - near_s, at + near_s)
            blind = np.hypot(blind, seen.settings.clipped_u_share * clipped_s)
            widened_u[name][rows] = np.hypot(widened_u[name][rows], blind)
    return replace(contacts, **widened_u)


def flag_gaps(contacts: Contacts, gaps: Mapping[Site, Gaps]) -> list[RaisedFlag]:
    """Steps in whose swing or contact samples of their own leg are missing or turned too fast.

    Parameters
    ----------
    contacts : Contacts
    gaps : mapping from Site to Gaps

    Returns
    -------
    list of RaisedFlag
        ``sensor_slipped``, ``gap`` and ``gyro_clipped``.
    """
    found: list[RaisedFlag] = []
    for side in SIDES:
        rows = np.flatnonzero(contacts.side == side)
        end_s = contacts.toe_off_s[rows]
        for site in (shank_of(side), foot_of(side)):
            if site not in gaps:
                continue
            seen = gaps[site]
            start_s = _list_swing_starts_s(contacts, rows, seen.settings.longest_swing_s)
            slipped = _list_slip_spans(seen, start_s, end_s)
            in_run = seen.slip is not None and seen.slip.in_run
            missing = (seen.measure_within_s(start_s, end_s) > seen.settings.matters_s) & ~slipped
            clipped = seen.gyro_clipped_s
            fast = np.searchsorted(clipped, start_s) < np.searchsorted(clipped, end_s)
            for name, of_step in (
                ("sensor_slipped", slipped & in_run),
                ("gap", missing),
                ("gyro_clipped", fast),
            ):
                found += [RaisedFlag(name, site=site, step=int(row) + 1) for row in rows[of_step]]
    return found


def _list_slip_spans(seen: Gaps, start_s: FloatArray, end_s: FloatArray) -> NDArray[np.bool_]:
    """Stretches of time in which a sensor may have turned on its limb."""
    if seen.slip is None:
        return np.zeros(len(start_s), dtype=bool)
    return (seen.slip.start_s < end_s) & (seen.slip.end_s > start_s)


def _list_swing_starts_s(
    contacts: Contacts, rows: NDArray[np.int64], longest_swing_s: float
) -> FloatArray:
    """Toe-off before each contact of one foot; a usual time before the first one."""
    before = contacts.toe_off_s[rows]
    start_s = np.append(contacts.touchdown_s[rows][:1] - longest_swing_s, before[:-1])
    return np.asarray(start_s[: len(rows)])


def compute_stride_doubt_m(
    contacts: Contacts,
    gaps: Mapping[Site, Gaps],
    side: Side,
    motion: Motion,
) -> FloatArray:
    """Standard uncertainty of each stride of a foot from clipped and missing samples.

    Velocity that was not seen in mid-swing moves the foot by a quarter of velocity times stride
    time, once the velocities in both stances are met; a tilt that was not seen turns the velocity
    that the foot has still to lose, and lets gravity pull it away.

    Parameters
    ----------
    contacts : Contacts
    gaps : mapping from Site to Gaps
    side : {"left", "right"}
    motion : Motion

    Returns
    -------
    ndarray, shape (k - 1,)
        From each contact of the foot to its next, in m; infinite where samples are missing.
    """
    rows = np.flatnonzero(contacts.side == side)
    middle_s = 0.5 * (contacts.touchdown_s + contacts.toe_off_s)[rows]
    seen = gaps.get(foot_of(side))
    if seen is None or len(rows) < 2:
        return np.zeros(max(len(rows) - 1, 0))
    stride_s = np.diff(middle_s)
    clipped_s = np.diff(np.searchsorted(seen.accel_clipped_s, middle_s)) * seen.period_s
    unseen_mps = seen.accel_unseen_mps2 * clipped_s
    hidden_rad, turned_mps = (
        np.diff(np.append(0.0, np.cumsum(part))[np.searchsorted(seen.gyro_clipped_s, middle_s)])
        for part in (
            seen.gyro_hidden_rad,
            seen.gyro_hidden_rad * _sample_speed_mps(motion, side, seen),
        )
    )
    tilted_mps = turned_mps + STANDARD_GRAVITY_MPS2 * hidden_rad * 0.5 * stride_s
    doubt_m = 0.25 * stride_s * np.hypot(unseen_mps, tilted_mps)
    missing = seen.measure_within_s(middle_s[:-1], middle_s[1:]) > seen.settings.matters_s
    return np.asarray(np.where(missing, np.inf, doubt_m))


def _sample_speed_mps(motion: Motion, side: Side, seen: Gaps) -> FloatArray:
    """Speed of a foot at each clipped sample of its gyroscope, shape (c,)."""
    foot = motion.segments.get(foot_of(side))
    if foot is None:
        return np.zeros(len(seen.gyro_clipped_s))
    speed = np.nan_to_num(np.linalg.norm(foot.velocity_mps, axis=1))
    return np.asarray(np.interp(seen.gyro_clipped_s, motion.time_s, speed))
