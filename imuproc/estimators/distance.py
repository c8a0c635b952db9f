"""Distance of the effort and mean speed on a belt, held against what the session file states.

A stated distance and the way of the feet are not the same thing: step 1 lands beyond the line,
athletes slow down beyond the finish, and a rolling start has a run-up. Only what these cannot
explain is worth a flag.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Run
from imuproc.core.result import Distance
from imuproc.estimators.stride import StepLengths
from imuproc.files.settings_model import JUDGEMENT, PRACTICE, StageSettings, number

FloatArray = NDArray[np.float64]

_OVER_FIVE = np.array([1.0, 2.0, 2.0, 2.0, 1.0]) / 8.0


class DistanceSettings(StageSettings):
    """What may lie between the stated distance and the way from step 1 to the end of the effort."""

    basis = PRACTICE
    start_m: float = number(
        1.4,
        (0.0, 20.0),
        "How far beyond the line step 1 may land.",
        "step 1 is 0.82 to 1.371 m long in senior sprinters (values gathered in encyclopedia.pub, "
        "entry 51786), and its foot starts behind the line",
    )
    end_early_m: float = number(
        2.5, (0.0, 100.0), "How far before the finish the effort may end: one step."
    )
    end_late_m: float = number(
        6.0, (0.0, 1000.0), "How far beyond the finish it may go on: three steps."
    )
    fading_from_m: float = number(
        40.0, (0.0, 10_000.0), "From this distance on speed may fall before the finish."
    )
    fading_share: float = number(
        0.5, (0.0, 1.0), "A run may be slowing over up to this share of what is beyond."
    )
    belt_share: float = number(
        0.02, (0.0, 1.0), "Standard uncertainty of a stated belt speed, as a share of it."
    )
    fast_share: float = number(
        0.97,
        (0.1, 1.0),
        "Steps at this share of top speed or above are held against the belt's speed.",
        JUDGEMENT,
    )


def measure_distance_between(
    lengths: StepLengths | None, trusted_m: FloatArray, first: int, last: int
) -> Distance | None:
    """Way from one contact to a later one.

    Parameters
    ----------
    lengths : StepLengths or None
    trusted_m : ndarray, shape (m,)
        Step lengths of the step table; NaN where they are missing or withheld.
    first, last : int
        Rows of the two contacts.

    Returns
    -------
    Distance or None
        None where a length in between is missing: nothing is guessed.
    """
    if lengths is None or last <= first or not np.isfinite(trusted_m[first:last]).all():
        return None
    figure = lengths.measure_distance(first, last)
    parts = {name: float(part[0]) for name, part in figure.parts.items()}
    return Distance(float(figure.value[0]), float(figure.uncertainty[0]), parts)


def find_end_of_effort(phase: NDArray[Any]) -> int:
    """Row of the contact at which the last step before ``slowing`` ends, or of the last contact."""
    slowing = np.flatnonzero(phase == "slowing")
    return int(slowing[0]) if len(slowing) else len(phase) - 1


def flag_distance(
    run: Run, effort: Distance | None, whole: Distance | None, settings: DistanceSettings
) -> list[RaisedFlag]:
    """A flag where the distance covered cannot be the stated one.

    Too short: the effort ends well before the finish, or even with slowing the feet never came
    that far. Too long: the effort goes on well beyond the finish; a rolling start may, as its
    run-up counts too. On a curve the way along it counts. On a treadmill nothing is compared: its
    display also counts what is before step 1 and after the last step.

    Parameters
    ----------
    run : Run
    effort : Distance or None
        From step 1 to the end of the effort.
    whole : Distance or None
        From step 1 to the last contact.
    settings : DistanceSettings

    Returns
    -------
    list of RaisedFlag
        ``distance_differs`` or nothing.
    """
    stated_m = run.distance_m
    if stated_m is None or effort is None or run.surface == "treadmill":
        return []
    fading_m = settings.fading_share * max(0.0, stated_m - settings.fading_from_m)
    least_m = stated_m - settings.start_m - settings.end_early_m - fading_m
    short = effort.value_m + 2.0 * effort.u_m < least_m
    if whole is not None:
        short |= whole.value_m + 2.0 * whole.u_m < stated_m - settings.start_m
    long = effort.value_m - 2.0 * effort.u_m > stated_m + settings.end_late_m
    if not (short or (long and run.start != "rolling")):
        return []
    found = {"covered_m": effort.value_m, "covered_u_m": effort.u_m, "stated_m": stated_m}
    return [RaisedFlag("distance_differs", found)]


def flag_belt(
    run: Run,
    contacts: Contacts,
    part: tuple[int, int],
    distance: Distance | None,
    settings: DistanceSettings,
) -> list[RaisedFlag]:
    """A flag where the mean speed over the belt at its fastest is not the stated one.

    Parameters
    ----------
    run : Run
    contacts : Contacts
    part : tuple of int
        Rows of the first and the last contact of :func:`find_fastest_part`.
    distance : Distance or None
        Between those.
    settings : DistanceSettings

    Returns
    -------
    list of RaisedFlag
        ``belt_speed_differs`` or nothing.
    """
    if run.belt_speed_mps is None or distance is None:
        return []
    took_s = float(contacts.touchdown_s[part[1]] - contacts.touchdown_s[part[0]])
    speed_mps, u_mps = distance.value_m / took_s, distance.u_m / took_s
    allowed_mps = 2.0 * float(np.hypot(u_mps, settings.belt_share * run.belt_speed_mps))
    if abs(speed_mps - run.belt_speed_mps) <= allowed_mps:
        return []
    found = {"found_mps": speed_mps, "found_u_mps": u_mps, "stated_mps": run.belt_speed_mps}
    return [RaisedFlag("belt_speed_differs", found)]


def find_fastest_part(speed_mps: FloatArray, share: float) -> tuple[int, int]:
    """Contacts between which a run is about as fast as it ever is.

    A belt is brought up to speed and down again, and the stated speed is the highest.

    Parameters
    ----------
    speed_mps : ndarray, shape (m,)
        Of each step; NaN where missing.
    share : float
        Of the top speed, which steps of this part reach; over five steps, so that differences
        between left and right cancel.

    Returns
    -------
    tuple of int
        Rows of its first and its last contact; alike where there is no such part.
    """
    if len(speed_mps) < len(_OVER_FIVE):
        return 0, 0
    smooth = np.nan_to_num(np.convolve(speed_mps, _OVER_FIVE, mode="same"))
    smooth[:2] = smooth[-2:] = 0.0
    top = int(np.argmax(smooth))
    slower = np.concatenate(([-1], np.flatnonzero(smooth < share * smooth[top]), [len(smooth)]))
    after = int(np.searchsorted(slower, top, side="right"))
    return (int(slower[after - 1]) + 1, int(slower[after])) if smooth[top] > 0.0 else (0, 0)
