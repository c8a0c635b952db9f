"""Step length and speed from the displacement of each foot's ball over its strides.

One foot alone gives strides (from its ball at one contact to its ball at the next). Two successive
step lengths sum up to a stride, and speed changes smoothly from step to step; together they give
each step's length by least squares, with its covariance. The same covariance tells how well the
distance over many steps is known, where some errors cancel and others add up.

The speed that changes smoothly is that from mid-contact to mid-contact, when the body passes over
the foot. From touchdown to touchdown a foot that lands farther ahead of the body would pass for a
faster step: step lengths of 33 real trials (Fukuchi et al. 2017, open data) had an RMS error of 3.7
cm that way and have 3.0 cm now, those of simulated sprints 3.2 and 2.3 cm.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.motion import Motion, SegmentMotion
from imuproc.core.sites import SIDES, Side, foot_of
from imuproc.dsp.integration import cumulative_integral
from imuproc.dsp.rotations import cross, quat_rotate
from imuproc.estimators.quantities import Quantity, make_missing
from imuproc.estimators.timing import find_next_step
from imuproc.files.settings_model import FUKUCHI, TRIED, StageSettings, number

FloatArray = NDArray[np.float64]


class StrideSettings(StageSettings):
    """What is assumed about strides and steps, one standard deviation each."""

    stride_u_m: float = number(
        0.03, (0.0001, 1.0), "Of one stride's length, by chance from stride to stride.", TRIED
    )
    stance_u_mps: float = number(
        0.06,
        (0.0, 5.0),
        "Of the speed at which the ball of the foot still moves when it is taken to be at rest, "
        "alike in all stances of a run.",
        f"in 33 trials of {FUKUCHI} lengths came out 0.02 to 0.11 m/s too long, as markers on the "
        "shoe creep back over the sole through mid-stance; in simulated sprints whose ball stands "
        "still but for rolling, 0.01 to 0.10 m/s too short",
    )
    speed_bend_mps: float = number(
        0.2,
        (0.001, 10.0),
        "Of the change of the speed gain from one step to the next, from mid-contact to "
        "mid-contact.",
        "0.09 to 0.47, median 0.16 m/s in the same trials, left-right differences included",
    )
    asymmetry_m: float = number(
        0.025,
        (0.0, 1.0),
        "Of the steady difference between left and right step length: half of it goes to each.",
        "0.025 m in the same trials",
    )
    longest_step_s: float = number(
        0.8,
        (0.1, 5.0),
        "A longer time from one touchdown to the next is a missed step, not a step.",
    )


def compute_ball_velocity(segment: SegmentMotion) -> FloatArray:
    """Velocity of the ball of the foot in m/s, world axes, shape (n, 3).

    Parameters
    ----------
    segment : SegmentMotion
        A foot.
    """
    lever = quat_rotate(segment.quat_wxyz, segment.lever_m)
    # d(lever)/dt by the orientation's own change keeps the two consistent.
    return np.asarray(segment.velocity_mps + _get_rate(lever, segment))


def _get_rate(lever: FloatArray, segment: SegmentMotion) -> FloatArray:
    return cross(segment.rate_world_radps, lever)


@dataclass(frozen=True, eq=False)
class StepLengths:
    """Length of every step, and how the errors of all of them hang together.

    Parameters
    ----------
    length_m : ndarray, shape (m,)
        NaN where nothing bears on a step.
    step_s : ndarray, shape (m,)
        Time from each touchdown to the next.
    covariance_m2 : ndarray, shape (m, m)
        From the strides' errors by chance; 0 where there is no length.
    moves_m : mapping from str to ndarray, shape (m, m) or (m, 1)
        ``touchdown`` and ``toe_off``: how far each length (rows) moves with one standard
        uncertainty of each such event (columns); ``clock``: of one leg's clock (one column).
    touchdown_u_s, late_s : ndarray, shape (m,)
        Of each touchdown, and of one leg's clock against the other's (0 in that other leg).
    clipping_u_m : float
        What sensors miss in every step alike.
    settings : StrideSettings
    """

    length_m: FloatArray
    step_s: FloatArray
    covariance_m2: FloatArray
    moves_m: Mapping[str, FloatArray]
    touchdown_u_s: FloatArray
    late_s: FloatArray
    clipping_u_m: float
    settings: StrideSettings

    def tabulate(self) -> dict[str, Quantity]:
        """``step_length_m`` and ``speed_mps`` of every step."""
        count, step_s = len(self.step_s), self.step_s
        parts = {
            "stride": np.sqrt(np.diag(self.covariance_m2)),
            "stance": self.settings.stance_u_mps * step_s,
            "clipping": np.full(count, self.clipping_u_m),
            "asymmetry": np.full(count, self.settings.asymmetry_m / 2.0),
        }
        speed = self.length_m / step_s
        longer_m = speed[:, None] * _compute_time_moves(self.touchdown_u_s)
        of_length = {name: _compute_norms(moves) for name, moves in self.moves_m.items()}
        clock_m = speed[:, None] * _compute_clock_moves(self.late_s)
        of_speed = of_length | {
            "touchdown": _compute_norms(self.moves_m["touchdown"] - longer_m),
            "clock": _compute_norms(self.moves_m["clock"] - clock_m),
        }
        return {
            "step_length_m": Quantity(self.length_m, parts | of_length),
            "speed_mps": Quantity(
                speed, {name: part / step_s for name, part in (parts | of_speed).items()}
            ),
        }

    def measure_distance(self, first: int, last: int) -> Quantity:
        """Way from one contact to a later one.

        What goes by chance partly cancels, one event's error moves two lengths against each other,
        a difference between the feet counts at most once; what all stances share adds up.

        Parameters
        ----------
        first, last : int
            Rows of the two contacts.

        Returns
        -------
        Quantity
            Of one value in m; NaN where a length in between is missing.
        """
        rows = slice(first, last)
        count = last - first
        odd_m = 0.5 * self.settings.asymmetry_m * (count % 2)
        parts = {
            "stride": float(np.sqrt(self.covariance_m2[rows, rows].sum())),
            "stance": self.settings.stance_u_mps * float(self.step_s[rows].sum()),
            "clipping": self.clipping_u_m * count,
            "asymmetry": odd_m,
            **{n: float(np.linalg.norm(m[rows].sum(axis=0))) for n, m in self.moves_m.items()},
        }
        value = np.array([self.length_m[rows].sum()])
        return Quantity(value, {name: np.array([part]) for name, part in parts.items()})


def _compute_norms(moves: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.sum(moves**2, axis=1)))


def _compute_time_moves(late_s: FloatArray) -> FloatArray:
    """How the times between successive instants (rows) move when each (columns) comes late."""
    return np.asarray(np.diag(late_s[1:], 1) - np.diag(late_s))


def _compute_late_leg_s(contacts: Contacts) -> FloatArray:
    """By how much the contacts of one leg, all of them, may be late on its clock, shape (m,)."""
    apart_u = contacts.evidence.get("clock_next_u_s", np.zeros(len(contacts)))
    return np.where(contacts.side == contacts.side[0], 0.0, apart_u.max(initial=0.0))


def _compute_clock_moves(late_s: FloatArray) -> FloatArray:
    """How those times move when one leg's clock is late, shape (m, 1)."""
    return np.append(np.diff(late_s), 0.0)[:, None]


def tabulate_lengths(lengths: StepLengths | None, count: int) -> dict[str, Quantity]:
    """Step length and speed of so many steps; all missing without lengths.

    Parameters
    ----------
    lengths : StepLengths or None
    count : int

    Returns
    -------
    dict from column name to Quantity
    """
    if lengths is None:
        return {name: make_missing(count) for name in ("step_length_m", "speed_mps")}
    return lengths.tabulate()


def solve_step_lengths(
    motion: Motion,
    contacts: Contacts,
    settings: StrideSettings,
    doubt_m: Mapping[Side, FloatArray] | None = None,
) -> StepLengths | None:
    """Length of every step with its covariance.

    Parameters
    ----------
    motion : Motion
    contacts : Contacts
    settings : StrideSettings
    doubt_m : mapping from Side to ndarray, shape (k - 1,), optional
        Further standard uncertainty of each foot's strides in m; infinite ones are left out.

    Returns
    -------
    StepLengths or None
        None where no stride can be used.
    """
    count = len(contacts)
    follows = find_next_step(contacts, settings.longest_step_s)
    strides = _measure_strides(motion, contacts)
    stride_u = np.full(count, settings.stride_u_m)
    for side, doubt in (doubt_m or {}).items():
        rows = np.flatnonzero(contacts.side == side)[:-1]
        stride_u[rows] = np.hypot(stride_u[rows], doubt)
    usable = np.isfinite(strides) & np.isfinite(stride_u)
    usable[:-1] &= follows[:-1] & np.append(follows[1:-1], False) if count > 1 else False
    if not usable.any():
        return None
    between_s = np.append(np.diff(0.5 * (contacts.touchdown_s + contacts.toe_off_s)), np.nan)
    follows &= between_s > 0.0
    down_u = contacts.touchdown_u_s
    late_s = _compute_late_leg_s(contacts)
    known = _Known(strides, stride_u, usable, follows, settings.speed_bend_mps)
    length, covariance, answer_mps = _solve_lengths(known, between_s)
    return StepLengths(
        length_m=length,
        step_s=np.append(np.diff(contacts.touchdown_s), np.nan),
        covariance_m2=covariance,
        moves_m={
            "touchdown": answer_mps @ _compute_time_moves(0.5 * down_u),
            "toe_off": answer_mps @ _compute_time_moves(0.5 * contacts.toe_off_u_s),
            "clock": answer_mps @ _compute_clock_moves(late_s),
        },
        touchdown_u_s=down_u,
        late_s=late_s,
        # What sensors miss in every stride alike does not average out: half of it stays in each
        # step.
        clipping_u_m=0.25 * float(np.median((stride_u - settings.stride_u_m)[usable])),
        settings=settings,
    )


@dataclass(frozen=True, eq=False)
class _Known:
    """Strides in m and their uncertainty, which of them count, which contacts a step follows."""

    strides: FloatArray
    stride_u: FloatArray
    usable: NDArray[np.bool_]
    follows: NDArray[np.bool_]
    bend_mps: float


def _measure_strides(motion: Motion, contacts: Contacts) -> FloatArray:
    """Way of the ball from each contact to the same foot's next one in m, shape (m,)."""
    strides = np.full(len(contacts), np.nan)
    rate_hz = (len(motion.time_s) - 1) / (motion.time_s[-1] - motion.time_s[0])
    middle = 0.5 * (contacts.touchdown_s + contacts.toe_off_s)
    for side in SIDES:
        segment = motion.segments.get(foot_of(side))
        rows = np.flatnonzero(contacts.side == side)
        if segment is None or len(rows) < 2:
            continue
        way = cumulative_integral(compute_ball_velocity(segment)[:, :2], rate_hz)
        at = np.stack([np.interp(middle[rows], motion.time_s, way[:, k]) for k in (0, 1)], axis=1)
        strides[rows[:-1]] = np.linalg.norm(np.diff(at, axis=0), axis=1)
    return strides


def _solve_lengths(
    known: _Known, between_s: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Step lengths, their covariance, and how they answer to the times between mid-contacts.

    Returns
    -------
    length_m : ndarray, shape (m,)
        NaN where nothing bears on a step.
    covariance_m2 : ndarray, shape (m, m)
    answer_mps : ndarray, shape (m, m)
        Change of each length (rows) per change of each time (columns): the derivative of the
        least-squares solution, as these times stand in its rows.
    """
    count = len(known.strides)
    first = np.flatnonzero(known.usable)
    weight = 1.0 / known.stride_u[first]
    pairs = np.zeros((len(first), count))
    pairs[np.arange(len(first)), first] = weight
    pairs[np.arange(len(first)), first + 1] = weight
    borne = np.zeros(count, dtype=bool)
    borne[first] = borne[first + 1] = True
    bends = _make_bend_rows(known.follows, between_s) / known.bend_mps
    bends = bends[~(bends[:, ~borne] != 0.0).any(axis=1)]  # else a step unheard of would pull
    curved = bends.T @ bends
    normal = pairs.T @ pairs + curved + np.eye(count) * 1e-6
    inverse = np.zeros((count, count))
    inverse[np.ix_(borne, borne)] = np.linalg.inv(normal[np.ix_(borne, borne)])
    length = inverse @ (pairs.T @ (known.strides[first] * weight))
    per_s = np.divide(1.0, between_s, out=np.zeros(count), where=np.diag(curved) > 0.0)
    answer = inverse @ (np.diag(curved @ length) + curved * length) * per_s
    return np.where(borne, length, np.nan), inverse, answer


def _make_bend_rows(follows: NDArray[np.bool_], between_s: FloatArray) -> FloatArray:
    """Second difference of speed over each three successive steps, shape (k, m)."""
    count = len(between_s)
    middle = np.flatnonzero(follows[:-2] & follows[1:-1] & follows[2:]) + 1
    rows = np.zeros((len(middle), count))
    line = np.arange(len(middle))
    for shift, factor in ((-1, 1.0), (0, -2.0), (1, 1.0)):
        rows[line, middle + shift] = factor / between_s[middle + shift]
    return rows
