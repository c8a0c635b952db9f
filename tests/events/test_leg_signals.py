"""Signals of a leg: what is put right where no standing told the axes."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.core.recording import ConditionedRecording
from imuproc.core.sites import SIDES, Side, Site, foot_of, shank_of
from imuproc.events.leg_signals import LegSignals, compute_leg_signals
from tests.events.real_runs import REAL_RUNS, real_run, stretch
from tests.shared_data import needs_shared_data
from tests.simulated import USUAL, make_run
from tests.usual import ANKLE_M, METHOD

# From the mean force of running to a segment's vertical in standing, deg (module's own figures).
LEAN_DEG = {"foot": 24.0, "shank": 36.0}


def signals(conditioned: ConditionedRecording, side: Side = "left") -> LegSignals:
    found = compute_leg_signals(conditioned, slice(None), side, METHOD.coarse.signals, ANKLE_M)
    assert found is not None
    return found


def as_if_never_stood(
    conditioned: ConditionedRecording, feet_face_back: bool = False
) -> ConditionedRecording:
    """Axes as conditioning finds them without standing: z along the mean force of running."""
    segments = {}
    for site, segment in conditioned.segments.items():
        lean = np.radians(LEAN_DEG[site.rpartition("_")[2]])
        back = np.array(
            [[np.cos(lean), 0, np.sin(lean)], [0, 1, 0], [-np.sin(lean), 0, np.cos(lean)]]
        )
        if feet_face_back and site.endswith("foot"):
            back = np.diag([-1.0, -1.0, 1.0]) @ back
        segments[site] = replace(
            segment,
            accel_mps2=segment.accel_mps2 @ back.T,
            gyro_radps=segment.gyro_radps @ back.T,
            calibration=replace(segment.calibration, vertical_known=False),
        )
    return replace(conditioned, segments=segments)


def without(conditioned: ConditionedRecording, site: Site) -> ConditionedRecording:
    kept = {s: segment for s, segment in conditioned.segments.items() if s != site}
    return replace(conditioned, segments=kept)


@pytest.mark.parametrize("feet_face_back", [False, True])
def test_axes_without_standing_are_put_right(feet_face_back: bool) -> None:
    part = stretch(make_run(USUAL)[0])
    inside = slice(*np.searchsorted(part.conditioned.time_s, [part.run.start_s, part.run.end_s]))
    for side in SIDES:
        never = as_if_never_stood(part.conditioned, feet_face_back)
        known, guessed = (
            compute_leg_signals(c, inside, side, METHOD.coarse.signals, ANKLE_M)
            for c in (part.conditioned, never)
        )
        assert known is not None
        assert guessed is not None
        assert known.push_mps2 is not None
        assert guessed.push_mps2 is not None
        np.testing.assert_allclose(guessed.swing_radps, known.swing_radps, atol=1e-6)
        np.testing.assert_allclose(guessed.push_mps2, known.push_mps2, atol=1e-6)


def test_a_leg_without_sensors_has_no_signals() -> None:
    part = stretch(make_run(USUAL)[0])
    bare = without(without(part.conditioned, "left_foot"), "left_shank")
    assert compute_leg_signals(bare, slice(None), "left", METHOD.coarse.signals, ANKLE_M) is None
    assert (
        compute_leg_signals(bare, slice(None), "right", METHOD.coarse.signals, ANKLE_M) is not None
    )


def test_a_missing_sensor_leaves_its_signals_out() -> None:
    conditioned = stretch(make_run(USUAL)[0]).conditioned
    shank_only = signals(without(conditioned, foot_of("left")))
    foot_only = signals(without(conditioned, shank_of("left")))
    assert shank_only.push_mps2 is None
    assert shank_only.foot_turn_radps is None
    assert shank_only.axial_mps2 is not None
    assert foot_only.axial_mps2 is None
    assert foot_only.push_mps2 is not None


def test_in_standing_the_shank_carries_gravity_and_nothing_swings() -> None:
    leg = signals(stretch(make_run(USUAL)[0]).conditioned)
    still = leg.time_s < leg.time_s[0] + 1.5
    assert leg.axial_mps2 is not None
    assert np.abs(leg.swing_radps[still]).max() < 0.1
    assert leg.axial_mps2[still].mean() == pytest.approx(9.81, abs=0.2)


@needs_shared_data
def test_the_stated_leans_hold_on_real_legs() -> None:
    """Mean force of running in segment axes: shank 36, foot 24 deg behind vertical, within 15."""
    for name in REAL_RUNS:
        part = stretch(real_run(name)[0])
        time_s = part.conditioned.time_s
        running = (time_s > part.run.start_s + 1.2) & (time_s < part.run.end_s - 1.2)
        for site, segment in part.conditioned.segments.items():
            force = segment.accel_mps2[running].mean(axis=0)
            lean_deg = np.degrees(np.arctan2(-force[0], force[2]))
            assert lean_deg == pytest.approx(LEAN_DEG[site.rpartition("_")[2]], abs=15.0)
