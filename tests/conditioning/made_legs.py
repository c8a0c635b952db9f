"""Sensors on a made-up athlete who stands, holds postures and runs: small, and known by heart."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from imuproc.conditioning.timebase import SiteSignals, TimeBased
from imuproc.core.recording import Athlete, Interval, Recording, Run, Start
from imuproc.core.sites import Site, is_foot, side_of

FloatArray = NDArray[np.float64]

RATE_HZ = 200.0
G = 9.80665
STRIDE_S = 0.5


@dataclass(frozen=True)
class Hold:
    """A posture kept, or a run: angles of shank and foot from standing in deg, lean back positive.

    ``sink_deg`` is how far the posture creeps during the hold.
    """

    duration_s: float
    shank_deg: float = 0.0
    foot_deg: float = 0.0
    sink_deg: float = 0.0
    running: bool = False


STAND = Hold(3.0)
SET = Hold(1.5, shank_deg=-50.0, foot_deg=-40.0)
RUN = Hold(4.0, running=True)
MOVE_S = 1.0
"""Time between two holds in which the athlete moves from one to the other."""
GO_S = 0.25
"""The same before a run."""


@dataclass(frozen=True, eq=False)
class Made:
    """Signals in segment axes by site, and when each hold began and ended."""

    time_s: FloatArray
    accel_mps2: Mapping[Site, FloatArray]
    gyro_radps: Mapping[Site, FloatArray]
    spans: tuple[Interval, ...]

    def run(self, number: int) -> Interval:
        """The stretch that a search for runs would give for one of the holds."""
        span = self.spans[number]
        return Interval(span.start_s - 0.6, span.end_s + 0.5)


def _smooth(x: FloatArray) -> FloatArray:
    u = np.clip(x, 0.0, 1.0)
    return u * u * u * (10.0 - 15.0 * u + 6.0 * u * u)


def _stride(site: Site, elapsed_s: FloatArray) -> FloatArray:
    """Pitch of a segment in running in rad: folded back in swing, swinging forward faster."""
    phase = 2.0 * np.pi * elapsed_s / STRIDE_S + (np.pi if side_of(site) == "right" else 0.0)
    size = 1.15 if is_foot(site) else 1.0
    return np.asarray(size * (-0.5 + 0.75 * np.sin(phase) + 0.2 * np.sin(2.0 * phase + 0.9)))


def _pitch(site: Site, holds: Sequence[Hold], time_s: FloatArray) -> FloatArray:
    """Pitch in rad: each hold, with smooth moves between them."""
    out = np.zeros(len(time_s))
    previous = np.zeros(len(time_s))
    for number, (hold, start) in enumerate(zip(holds, _starts(holds), strict=True)):
        share = np.clip((time_s - start) / hold.duration_s, 0.0, 1.0)
        posture = np.radians(hold.foot_deg if is_foot(site) else hold.shank_deg)
        level = posture + np.radians(hold.sink_deg) * share
        if hold.running:
            level = level + _stride(site, time_s - start)
        took = GO_S if hold.running else MOVE_S
        move = _smooth((time_s - start) / took + 1.0) if number else np.ones(len(time_s))
        out = (1.0 - move) * previous + move * level
        previous = out
    return out


def _starts(holds: Sequence[Hold]) -> list[float]:
    """When each hold begins in s."""
    starts = [0.0]
    for before, hold in pairwise(holds):
        starts.append(starts[-1] + before.duration_s + (GO_S if hold.running else MOVE_S))
    return starts


def made(holds: Sequence[Hold], sites: Sequence[Site], seed: int = 1) -> Made:
    """Signals of an athlete who goes through a list of holds."""
    edges = [
        Interval(50.0 + start, 50.0 + start + hold.duration_s)
        for hold, start in zip(holds, _starts(holds), strict=True)
    ]
    time_s = 50.0 + np.arange(int((edges[-1].end_s - 50.0) * RATE_HZ)) / RATE_HZ
    rng = np.random.default_rng(seed)
    accel: dict[Site, FloatArray] = {}
    gyro: dict[Site, FloatArray] = {}
    for site in sites:
        pitch = _pitch(site, holds, time_s - 50.0)
        rate = np.gradient(pitch, 1.0 / RATE_HZ)
        zero = np.zeros(len(time_s))
        # Pitch up turns the forward axis towards the sky: gravity's share of each axis follows.
        pull = 0.1 * rate**2
        force = np.stack((G * np.sin(pitch), zero, G * np.cos(pitch) + pull), axis=1)
        noise = rng.normal(0.0, 1.0, (2, len(time_s), 3))
        accel[site] = force + 0.02 * noise[0]
        gyro[site] = np.stack((zero, -rate, zero), axis=1) + 0.002 * noise[1]
    return Made(time_s, accel, gyro, tuple(edges))


def timebased(
    made_up: Made,
    mounts: Mapping[Site, FloatArray] | None = None,
    start: Start = "crouch",
    bias_radps: FloatArray | float = 0.0,
    missing: Mapping[Site, NDArray[np.bool_]] | None = None,
) -> TimeBased:
    """The same as sensors mounted in some way would log it."""
    sites = {}
    for site, accel in made_up.accel_mps2.items():
        turn = (mounts or {}).get(site, np.eye(3))
        gone = (missing or {}).get(site, np.zeros(len(accel), dtype=bool))
        signals = [accel @ turn.T, made_up.gyro_radps[site] @ turn.T + bias_radps]
        for signal in signals:
            signal[gone] = np.nan
        no = np.zeros(len(accel), dtype=bool)
        sites[site] = SiteSignals(site, *signals, ~gone, no, no, RATE_HZ)
    recording = Recording("harbour", Athlete("R07"), Run("R07-01", start=start), {})
    return TimeBased(recording, made_up.time_s, RATE_HZ, sites)
