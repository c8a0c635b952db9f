"""Was it standing that set the zero? Postures in mid-stance, kept by hand."""

import numpy as np
import pytest

from imuproc.core.motion import Motion
from imuproc.estimators.upright import is_zero_upright
from tests.estimators.made_motion import TIME_S, motion, segment, steady
from tests.usual import METHOD

STEPS = steady("left", 0.25, 0.12, 8)


def posture(site: str, angle_deg: float) -> Motion:
    """One segment kept at a pitch from its zero."""
    return motion(segment(site, np.full(len(TIME_S), np.radians(angle_deg))))


@pytest.mark.parametrize("pitch_deg", [-7.0, -2.0, 0.5])
def test_a_foot_that_lies_flat_in_mid_stance(pitch_deg: float) -> None:
    """-7 to 0 deg in all 66 foot-trials of 11 runners (Fukuchi et al. 2017) and in simulation."""
    assert is_zero_upright(posture("left_foot", pitch_deg), STEPS, METHOD.estimators.upright)


@pytest.mark.parametrize("shin_deg", [62.0, 74.0])
def test_a_shin_that_leans_a_little_in_mid_stance(shin_deg: float) -> None:
    """62 to 72 deg in the same trials, up to 74 deg in simulation."""
    assert is_zero_upright(
        posture("right_shank", shin_deg - 90.0), STEPS, METHOD.estimators.upright
    )


@pytest.mark.parametrize(
    ("site", "angle_deg"),
    [("left_foot", 33.0), ("right_foot", -40.0), ("left_shank", 13.0), ("right_shank", -60.0)],
    ids=["set position", "the reverse", "shank in the set position", "shank, the reverse"],
)
def test_what_no_runner_does_in_mid_stance(site: str, angle_deg: float) -> None:
    assert not is_zero_upright(posture(site, angle_deg), STEPS, METHOD.estimators.upright)


def test_only_mid_stance_counts() -> None:
    """A foot that points down in swing, and rises over the toes, still lies flat in between."""
    pitch = np.full(len(TIME_S), np.radians(-90.0))
    for down, off in zip(STEPS.touchdown_s, STEPS.toe_off_s, strict=True):
        pitch[(down + 0.2 * (off - down) < TIME_S) & (down + 0.6 * (off - down) > TIME_S)] = 0.0
    assert is_zero_upright(motion(segment("left_foot", pitch)), STEPS, METHOD.estimators.upright)


def test_nothing_is_said_of_a_pelvis_or_of_too_few_contacts() -> None:
    assert is_zero_upright(posture("pelvis", -60.0), STEPS, METHOD.estimators.upright)
    assert is_zero_upright(
        posture("left_foot", 60.0), STEPS.take(np.array([0, 1, 2])), METHOD.estimators.upright
    )
    assert is_zero_upright(motion(), STEPS, METHOD.estimators.upright)
