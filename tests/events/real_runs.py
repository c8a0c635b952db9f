"""Real treadmill runs for the tests of events, each made once, held to the force plate.

Source: Fukuchi, Fukuchi & Duarte 2017, PeerJ 5:e3298 (optical motion made into inertial signals,
mid-grade sensors; contacts by 20 N above local zero).
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.axes.calibration import calibrate
from imuproc.conditioning.sanity import check_logs, check_signals
from imuproc.conditioning.timebase import to_common_clock
from imuproc.core.contacts import Contacts
from imuproc.core.recording import ConditionedRecording, Interval, Recording
from imuproc.events.progress import Track
from imuproc.events.runs import find_runs
from imuproc.synth.sensors.imperfect import GRADES
from imuproc.synth.truth import Truth
from scripts.lab.optical_running import list_cases
from scripts.lab.real_motion import make_recording
from tests.simulated import cut_log
from tests.usual import METHOD, ON_CLOCK, SOUND

REAL_RUNS = ("RBDS002-2.5", "RBDS026-2.5", "RBDS09-4.5")
"""Midfoot and rearfoot strikers at a slow jog, where strides look most like walking, and a midfoot
striker at the highest speed of the set."""

EVERY_FIFTH = (
    *("RBDS002-2.5", "RBDS012-4.5", "RBDS017-3.5", "RBDS021-2.5"),
    *("RBDS023-4.5", "RBDS028-3.5", "RBDS09-2.5"),
)
"""Every fifth of the 33 trials."""

KINDS = ("all", "foot", "shank")


@lru_cache(maxsize=12)
def real_run(
    name: str, rate_hz: float = 500.0, shock: Literal["none", "weak", "strong"] = "none"
) -> tuple[Recording, Truth]:
    """A trial's recording and truth."""
    case = next(c for c in list_cases() if f"{c.runner}-{c.speed_mps:g}" == name)
    return make_recording(case, GRADES["mid"], rate_hz, 20_260_000, shock=shock)


def with_kind(recording: Recording, kind: str) -> Recording:
    """The recording with the sensors of one kind of segment only: all, foot or shank."""
    logs = {s: log for s, log in recording.logs.items() if kind in ("all", s.rpartition("_")[2])}
    return replace(recording, logs=logs)


def without_standing(recording: Recording, truth: Truth) -> Recording:
    """The recording as if it had been switched on and off while running."""
    start_s, end_s = truth.valid_from_s - 1.5, truth.valid_to_s + 1.5
    return replace(
        recording, logs={s: cut_log(log, start_s, end_s) for s, log in recording.logs.items()}
    )


@dataclass(frozen=True, eq=False)
class Stretch:
    """Conditioned signals and the run in them."""

    conditioned: ConditionedRecording
    run: Interval


def stretch(recording: Recording) -> Stretch:
    """The only run of a recording."""
    timebased = check_signals(
        to_common_clock(check_logs(recording, METHOD.sanity), *ON_CLOCK), *SOUND
    )
    tracks = {
        site: [Track(timebased.time_s, timebased.rate_hz, own.gyro_radps, own.accel_mps2)]
        for site, own in timebased.sites.items()
    }
    (run,) = find_runs(tracks, METHOD.runs)
    return Stretch(calibrate(timebased, run, METHOD.calibration), run)


@dataclass(frozen=True, eq=False)
class Agreement:
    """Contacts against the truth: errors of touchdown and toe-off in s, missed, invented.

    ``rows`` are the matched rows of the contacts.
    """

    touchdown_s: NDArray[np.float64]
    toe_off_s: NDArray[np.float64]
    missed: int
    invented: int
    rows: NDArray[np.int64]


def agreement(contacts: Contacts, truth: Truth) -> Agreement:
    """Hold contacts to the truth: same foot, both events within 80 ms, one to one.

    Contacts whose middle lies outside the stretch that the truth covers are not judged; walking
    that the truth holds counts as invented where it is reported.
    """
    steps = truth.steps
    if "gait" in steps:
        steps = steps[steps["gait"] == "run"]
    middle = 0.5 * (contacts.touchdown_s + contacts.toe_off_s)
    unmatched = set(
        np.flatnonzero((middle > truth.valid_from_s) & (middle < truth.valid_to_s)).tolist()
    )
    if "gait" in truth.steps:
        unmatched = set(range(len(contacts)))
    pairs: list[tuple[int, float, float]] = []
    for step in steps.itertuples():
        down = contacts.touchdown_s - step.touchdown_s
        off = contacts.toe_off_s - step.toe_off_s
        worst = np.where(contacts.side == step.side, np.maximum(np.abs(down), np.abs(off)), np.inf)
        row = int(np.argmin(worst)) if len(worst) else -1
        if row in unmatched and worst[row] < 0.08:
            unmatched.remove(row)
            pairs.append((row, float(down[row]), float(off[row])))
    rows = np.array([pair[0] for pair in pairs], dtype=np.int64)
    errors = np.array([pair[1:] for pair in pairs]).reshape(-1, 2)
    return Agreement(errors[:, 0], errors[:, 1], len(steps) - len(pairs), len(unmatched), rows)
