"""Has a sensor turned on its limb? Its attitude in mid-stance then steps to another level.

In mid-stance foot and shank stand alike from stride to stride: in 33 real trials and in simulated
sprints gravity in a sensor kept its place within 1 to 2 deg once what the other leg does at the
same time (getting up from the start, slowing down) is taken off. Gravity in both standings says by
how much the sensor turned, the stances say when. Where there is only one standing, the step itself
says how much, if it is large.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.motion import Motion
from imuproc.core.recording import Calibration, ConditionedRecording, Slip
from imuproc.core.sites import SIDES, Site, foot_of, is_foot, shank_of
from imuproc.dsp.medians import median
from imuproc.dsp.rotations import quat_between, quat_conjugate, quat_rotate, quat_to_rotvec
from imuproc.motion.settings import MotionSettings, SlipSettings
from imuproc.motion.strapdown import interpolate_at

FloatArray = NDArray[np.float64]

_UP = np.array([0.0, 0.0, 1.0])
_NO_TURN = np.array([1.0, 0.0, 0.0, 0.0])
_OTHER: Final[dict[Site, Site]] = {
    kind(side): kind(other)
    for kind in (foot_of, shank_of)
    for side, other in zip(SIDES, SIDES[::-1], strict=True)
}


@dataclass(frozen=True, eq=False)
class _Levels:
    """Gravity in one sensor in the quiet part of each stance.

    ``up`` is the vertical in segment axes, shape (m, 3), ``usual_deg`` what the other leg does,
    shape (m, 2), ``start_s`` and ``end_s`` the quiet parts, ``spread_deg`` how far one stance may
    be off.
    """

    up: FloatArray
    usual_deg: FloatArray
    start_s: FloatArray
    end_s: FloatArray
    spread_deg: float
    settings: SlipSettings

    def compute_misfits(self, turn: FloatArray) -> FloatArray:
        """Misfit of a turn before each of the stances, and after the last, shape (m + 1,)."""
        count = len(self.up)
        as_it_is = _compute_tilt_deg(self.up) - self.usual_deg
        back = _compute_tilt_deg(quat_rotate(turn, self.up)) - self.usual_deg
        turned = np.arange(count) >= np.arange(count + 1)[:, None]
        level = np.where(turned[:, :, None], back, as_it_is)
        usual = median(level.swapaxes(0, 1))[:, None]
        away = np.sum(np.square((level - usual) / self.spread_deg), axis=2)
        freedom = self.settings.freedom
        asymmetry = np.sum(np.square(usual[:, 0] / self.settings.asymmetry_deg), axis=1)
        spread = (freedom + 2.0) * np.log1p(away / freedom).sum(axis=1)
        return np.asarray(spread + asymmetry)

    def find_stance_turn(self) -> tuple[FloatArray, float, float]:
        """The turn that the stances alone speak for.

        Also how much better than none it fits, and how far this leg's stances by themselves, in
        deg, lie apart there.
        """
        turn, apart_deg = _NO_TURN, 0.0
        without = best = float(self.compute_misfits(turn)[0])
        own = _compute_tilt_deg(self.up)
        level = own - self.usual_deg
        fewest = self.settings.fewest_stances
        for first in range(fewest, len(level) - fewest + 1):
            by = _measure_gain(level[:first], level[first:])
            if np.linalg.norm(by) <= self.settings.large_deg:
                continue
            candidate = quat_between(_to_direction(by), _UP)
            misfit = float(self.compute_misfits(candidate)[first])
            if misfit < best:
                best, turn = misfit, candidate
                near = _measure_gain(own[first - fewest : first], own[first : first + fewest])
                apart_deg = float(np.linalg.norm(near))
        return turn, without - best, apart_deg


def _measure_gain(before: FloatArray, after: FloatArray) -> FloatArray:
    return median(after) - median(before)


def find_slips(
    conditioned: ConditionedRecording, motion: Motion, contacts: Contacts, settings: MotionSettings
) -> dict[Site, Slip]:
    """Sensors that turned on their limb, when and how far.

    Parameters
    ----------
    conditioned : ConditionedRecording
    motion : Motion
        Solved as if none had.
    contacts : Contacts
    settings : MotionSettings

    Returns
    -------
    dict from Site to Slip
        Without those that a slip was taken out of already, and those of which the stances do not
        tell when it was.
    """
    levels = _measure_levels(conditioned, motion, contacts, settings)
    found: dict[Site, Slip] = {}
    for site, own in levels.items():
        calibration = conditioned.segments[site].calibration
        if calibration.slip is not None or not calibration.vertical_known:
            continue
        turn = _find_turn(calibration, own, levels[_OTHER[site]])
        span = None if turn is None else _find_when(own, turn, calibration)
        if turn is not None and span is not None:
            rotvec = calibration.segment_from_sensor.T @ quat_to_rotvec(turn)
            found[site] = Slip(*span, (float(rotvec[0]), float(rotvec[1]), float(rotvec[2])))
    return found


def _find_turn(calibration: Calibration, own: _Levels, other: _Levels) -> FloatArray | None:
    """Quaternion that turns a sensor back; None where it surely kept its place.

    Where one standing is missing, a step of one leg is one against the other leg too: it is that
    leg's whose own stances lie farther apart, by half of the turn at least.
    """
    if calibration.up_after is not None:
        turn = quat_between(np.array(calibration.up_after), _UP)
        return turn if _measure_angle_rad(turn) > np.radians(own.settings.turned_deg) else None
    turn, gain, apart_deg = own.find_stance_turn()
    if gain <= own.settings.sure_misfit:
        return None
    least_deg = max(0.5 * np.degrees(_measure_angle_rad(turn)), other.find_stance_turn()[2])
    return turn if apart_deg > least_deg else None


def _measure_angle_rad(turn: FloatArray) -> float:
    return float(np.linalg.norm(quat_to_rotvec(turn)))


def _find_when(
    own: _Levels, turn: FloatArray, calibration: Calibration
) -> tuple[float, float, bool] | None:
    """Between which instants a sensor turned, and whether in the run; None where it is not clear.

    Any of the instants that fit nearly as well as the best may be the one.
    """
    misfit = own.compute_misfits(turn)
    near = np.flatnonzero(misfit < misfit.min() + own.settings.clearly_misfit)
    first, last, count = int(near[0]), int(near[-1]), len(own.start_s)
    if last - first > own.settings.most_doubtful:
        return None
    before, after = calibration.still_before, calibration.still_after
    if (first == 0 and before is None) or (last == count and after is None):
        return None
    start_s = before.end_s if first == 0 and before else float(own.end_s[first - 1])
    end_s = after.start_s if last == count and after else float(own.start_s[last])
    return start_s, end_s, last > 0 and first < count


def _measure_levels(
    conditioned: ConditionedRecording, motion: Motion, contacts: Contacts, settings: MotionSettings
) -> dict[Site, _Levels]:
    """Gravity in mid-stance in every sensor whose like on the other leg tells what is usual."""
    out: dict[Site, _Levels] = {}
    slip = settings.slip
    length = contacts.toe_off_s - contacts.touchdown_s
    start_s = contacts.touchdown_s + settings.stance_from * length
    end_s = contacts.touchdown_s + settings.stance_to * length
    for kind in (foot_of, shank_of):
        pair = [kind(side) for side in SIDES]
        if not all(site in motion.segments for site in pair):
            continue
        rows = [
            np.flatnonzero(
                (contacts.side == side) & _find_complete_spans(conditioned, site, start_s, end_s)
            )
            for side, site in zip(SIDES, pair, strict=True)
        ]
        if min(map(len, rows)) < 2 * slip.fewest_stances:
            continue
        ups = [
            _average_up(motion, site, start_s[own], end_s[own])
            for site, own in zip(pair, rows, strict=True)
        ]
        for site, up, other, own, far in zip(pair, ups, ups[::-1], rows, rows[::-1], strict=True):
            mirrored = _compute_tilt_deg(other) * [1.0, -1.0]
            usual = np.stack([np.interp(start_s[own], start_s[far], x) for x in mirrored.T], axis=1)
            spread_deg = slip.foot_spread_deg if is_foot(site) else slip.shank_spread_deg
            out[site] = _Levels(up, usual, start_s[own], end_s[own], spread_deg, slip)
    return out


def _find_complete_spans(
    conditioned: ConditionedRecording, site: Site, start_s: FloatArray, end_s: FloatArray
) -> NDArray[np.bool_]:
    """Stretches of time in which a sensor lacks no sample: a log may be torn, or end in the run."""
    missing = np.concatenate(([0], np.cumsum(~conditioned.segments[site].measured)))
    first, last = (np.searchsorted(conditioned.time_s, at_s) for at_s in (start_s, end_s))
    return np.asarray(missing[last] == missing[first])


def _average_up(motion: Motion, site: Site, start_s: FloatArray, end_s: FloatArray) -> FloatArray:
    """Mean vertical in segment axes over stretches of time, shape (m, 3)."""
    instants = start_s + (end_s - start_s) * np.linspace(0.0, 1.0, 5)[:, None]
    quat = interpolate_at(motion.segments[site].quat_wxyz, motion.time_s, instants.ravel())
    up = quat_rotate(quat_conjugate(quat), np.broadcast_to(_UP, (len(quat), 3)))
    mean = up.reshape(5, len(start_s), 3).mean(axis=0)
    return np.asarray(mean / np.linalg.norm(mean, axis=1, keepdims=True))


def _compute_tilt_deg(up: FloatArray) -> FloatArray:
    """Tilt of the vertical in segment axes forward and to the left in deg, shape (m, 2)."""
    ahead = np.arctan2(up[:, 0], up[:, 2])
    aside = np.arctan2(up[:, 1], np.hypot(up[:, 0], up[:, 2]))
    return np.asarray(np.degrees(np.stack((ahead, aside), axis=1)))


def _to_direction(tilt_deg: FloatArray) -> FloatArray:
    """The vertical whose tilt is given, shape (2,) to (3,)."""
    ahead, aside = np.radians(tilt_deg)
    level = np.cos(aside)
    return np.array([np.sin(ahead) * level, np.sin(aside), np.cos(ahead) * level])
