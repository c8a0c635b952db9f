"""Swings of each foot, from where it left the ground to its touchdown."""

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.motion import Motion
from imuproc.core.sites import Side, foot_of
from imuproc.dsp.rotations import norm
from imuproc.estimators.reading import Instants, Swings
from imuproc.estimators.stride import compute_ball_velocity
from imuproc.files.settings_model import StageSettings, number, span

_STARTS = "chosen on simulated starts; no real ones to compare with"


class SwingSettings(StageSettings):
    """When a foot leaves the ground at the start, and what is no swing."""

    departure_speed_mps: float = number(
        0.7,
        (0.01, 10.0),
        "Below this speed of its ball a foot has not left the ground at the start.",
        _STARTS,
    )
    departure_u_s: float = number(
        0.01, (0.0, 1.0), "Standard uncertainty of when it left.", _STARTS
    )
    departure_before_s: tuple[float, float] = span(
        (0.08, 0.8),
        (0.0, 5.0),
        "How shortly and how long before a foot's first touchdown it leaves the start.",
        _STARTS,
    )
    leaves_s: tuple[float, float] = span(
        (-0.02, 0.08),
        (-0.5, 0.5),
        "When a foot leaves the ground at the start, from when its ball was last slow.",
        _STARTS,
    )
    longest_stride_share: float = number(
        1.6,
        (1.0, 10.0),
        "A stride as many times as long as those around it has a missed contact in it.",
        "from one stride to the next a runner's stride time changes by less than a third",
    )
    swing_s: tuple[float, float] = span(
        (0.05, 1.5),
        (0.0, 10.0),
        "A shorter or a longer time between two contacts of a foot is no swing.",
    )


def get_touchdowns(contacts: Contacts) -> Instants:
    """Touchdowns with what is uncertain of them."""
    return Instants(contacts.touchdown_s, contacts.touchdown_u_s, contacts.touchdown_reference_u_s)


def get_toe_offs(contacts: Contacts) -> Instants:
    """Toe-offs with what is uncertain of them."""
    return Instants(contacts.toe_off_s, contacts.toe_off_u_s, contacts.toe_off_reference_u_s)


def find_swings(motion: Motion, own: Contacts, side: Side, settings: SwingSettings) -> Swings:
    """Swings that end at one foot's contacts.

    The first one starts where the foot left the ground or block. Its ball is then no longer at
    rest: the heel has come up and the ball is being lifted over the toes, slowly in a start. What
    tells is the foot's turn, which is fastest as the foot leaves; in simulated starts that is 5 ms
    late (SD 1 ms), where a fixed speed of the ball came 22 ms early (SD 13 ms) and the speed at
    which the same foot left its first contact 3 ms late (SD 13 ms). No real starts to compare with.
    Where a contact of the foot was missed in between, there is no swing.

    Parameters
    ----------
    motion : Motion
    own : Contacts
        Of one foot.
    side : {"left", "right"}
    settings : SwingSettings

    Returns
    -------
    Swings
    """
    start, start_u = np.full(len(own), np.nan), np.full(len(own), settings.departure_u_s)
    missed = find_missed_before(own, settings.longest_stride_share)
    start[1:] = np.where(missed[1:], np.nan, own.toe_off_s[:-1])
    start_u[1:] = own.toe_off_u_s[:-1]
    shared_u = np.append(0.0, own.toe_off_reference_u_s[:-1])[: len(own)]
    if len(own):
        start[0] = _find_departure_s(motion, side, float(own.touchdown_s[0]), settings)
    length_s, (shortest_s, longest_s) = own.touchdown_s - start, settings.swing_s
    start[~((length_s > shortest_s) & (length_s < longest_s))] = np.nan
    return Swings(Instants(start, start_u, shared_u), get_touchdowns(own))


def find_missed_before(own: Contacts, longest_share: float) -> NDArray[np.bool_]:
    """Whether a contact of the same foot is missing before each contact, shape (m,).

    A stride with a missed contact in it takes as long as two; from one stride to the next a
    runner's stride time changes by less than a third.
    """
    stride = np.diff(own.touchdown_s, prepend=np.nan)
    before, after = np.append(np.nan, stride[:-1]), np.append(stride[1:], np.nan)
    return np.asarray(stride > longest_share * np.fmin(before, after))


def _find_departure_s(
    motion: Motion, side: Side, touchdown_s: float, settings: SwingSettings
) -> float:
    foot = motion.segments.get(foot_of(side))
    if foot is None:
        return float("nan")
    speed = norm(compute_ball_velocity(foot))
    late_s, early_s = (touchdown_s - before for before in settings.departure_before_s)
    inside = (motion.time_s > early_s) & (motion.time_s < late_s)
    slow = np.flatnonzero(inside & (speed < settings.departure_speed_mps))
    if not len(slow):
        return float("nan")
    near = motion.time_s[slow[-1]] + np.array(settings.leaves_s)
    first, last = np.searchsorted(motion.time_s, near)
    return float(motion.time_s[first + int(np.argmin(foot.pitch_rate_radps[first:last]))])
