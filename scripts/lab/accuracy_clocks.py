"""Cases whose sensors do not share a clock, for the accuracy script."""

from dataclasses import replace
from typing import Final

import numpy as np

from imuproc.core.recording import Recording
from imuproc.core.sites import Site
from imuproc.synth.moments import add_jumps, record_common
from imuproc.synth.runs import Rig, RunMotion
from imuproc.synth.truth import Truth

DRIFT_PPM: Final = 50.0
"""SD of how fast or slow each logger's clock is."""
MOST_PPM: Final = 200.0
APART_S: Final = 0.004
"""SD of the time between the landings of both legs; from memory, low."""
JUMPS: Final = 2
HEADS: Final[tuple[Site, ...]] = ("left_shank", "right_shank")


def give_own_clocks(recording: Recording, rng: np.random.Generator) -> Recording:
    """The recording as if each foot's logger had a clock of its own, hours off and drifting.

    The shanks keep the clock of the truth: without a common moment each leg's times count as its
    first log counts them.

    Parameters
    ----------
    recording : Recording
    rng : numpy Generator
    """
    logs = dict(recording.logs)
    for site, log in recording.logs.items():
        if site not in HEADS:
            ratio = 1.0 + 1e-6 * float(np.clip(rng.normal(0.0, DRIFT_PPM), -MOST_PPM, MOST_PPM))
            offset_s = float(rng.uniform(-9000.0, 9000.0))
            logs[site] = replace(log, time_s=offset_s + ratio * log.time_s)
    return replace(recording, logs=logs, run=replace(recording.run, clock="separate"))


def add_jumps_around(
    recording: Recording, motion: RunMotion, rig: Rig, rng: np.random.Generator
) -> tuple[Recording, Truth]:
    """The recording with jumps before and after the run, each sensor on its own clock.

    Parameters
    ----------
    recording : Recording
        Of the same motion, for all but its logs.
    motion : RunMotion
    rig : Rig
    rng : numpy Generator
    """
    first = next(iter(rig.stamps))
    stamps = {
        site: stamp
        if site == first
        else replace(
            stamp,
            offset_s=float(rng.uniform(-9000.0, 9000.0)),
            drift_ppm=float(np.clip(rng.normal(0.0, DRIFT_PPM), -MOST_PPM, MOST_PPM)),
        )
        for site, stamp in rig.stamps.items()
    }
    common = add_jumps(motion, JUMPS, JUMPS, rng, APART_S)
    logs, truth = record_common(motion, common, replace(rig, stamps=stamps), rng)
    return replace(recording, logs=logs, run=replace(recording.run, clock="jump")), truth
