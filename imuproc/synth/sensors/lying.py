"""Sensors that lie still, as before a session."""

import numpy as np

from imuproc.core.recording import Athlete, Recording, Run, SensorLog
from imuproc.core.sites import SITES, Site
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.synth.sensors.imperfect import (
    GRADES,
    IdealSignals,
    SensorModel,
    StampModel,
    sample_signals,
)


def make_lying_recording(
    model: SensorModel | str,
    duration_s: float,
    rate_hz: float,
    rng: np.random.Generator,
    sites: tuple[Site, ...] = SITES[:4],
) -> Recording:
    """Recording of sensors that lie still, each some way up, on one clock.

    Parameters
    ----------
    model : SensorModel or str
        Sensors, or the name of a grade in :data:`imuproc.synth.sensors.imperfect.GRADES`.
    duration_s : float
    rate_hz : float
        Sampling rate in Hz.
    rng : numpy Generator
        Draws which way up, sensor faults and noise.
    sites : tuple of Site

    Returns
    -------
    Recording
    """
    grade = GRADES[model] if isinstance(model, str) else model
    start_s = float(np.round(rng.uniform(5.0, 500.0), 1))
    stamps = StampModel(rate_hz=rate_hz, start_s=start_s)
    time_s = np.linspace(0.0, duration_s, 4)
    logs: dict[Site, SensorLog] = {}
    for site in sites:
        way = rng.normal(size=3)
        up = STANDARD_GRAVITY_MPS2 * way / np.linalg.norm(way)
        signals = IdealSignals(time_s, np.tile(up, (4, 1)), np.zeros((4, 3)))
        logs[site] = sample_signals(signals, site, grade, stamps, rng)
    return Recording("simulated", Athlete("R00"), Run("R00-01"), logs)
