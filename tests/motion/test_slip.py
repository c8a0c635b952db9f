"""A sensor that turned on its limb, told by its attitude in mid-stance: postures kept by hand."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.core.motion import Motion
from imuproc.core.recording import (
    Athlete,
    Calibration,
    Conditioned,
    ConditionedRecording,
    Interval,
    Recording,
    Run,
    Slip,
)
from imuproc.core.sites import Site
from imuproc.motion.settings import MotionSettings
from imuproc.motion.slip import find_slips
from tests.estimators.made_motion import TIME_S, motion, segment, steady

STEPS = steady("left", 0.25, 0.12, 16)
FEET: tuple[Site, ...] = ("left_foot", "right_foot")
BY = np.radians(20.0)


def stances(by_stance_deg: NDArray[np.float64], side: str) -> NDArray[np.float64]:
    """Pitch in rad that is kept from one mid-swing to the next."""
    own = STEPS.take(STEPS.side == side)
    middle = 0.5 * (own.touchdown_s + own.toe_off_s)
    nearest = np.argmin(np.abs(TIME_S[:, None] - middle), axis=1)
    return np.asarray(np.radians(by_stance_deg)[nearest])


def feet(slipped_deg: NDArray[np.float64], common_deg: float = -3.0) -> Motion:
    """Both feet nearly flat in stance, the right one turned by so much in each of its stances."""
    rng = np.random.default_rng(5)
    return motion(
        *(
            segment(site, stances(rng.normal(common_deg, 0.5, 8) + more, side))
            for site, side, more in zip(
                FEET, ("left", "right"), (np.zeros(8), slipped_deg), strict=True
            )
        )
    )


def conditioned(after_deg: float | None) -> ConditionedRecording:
    """Standing that differs in the right foot by so much, toe up; None without one after."""
    none = np.zeros((len(TIME_S), 3))
    no = np.zeros(len(TIME_S), dtype=bool)
    before = Interval(10.0, 10.4)
    segments = {}
    for site in FEET:
        tilt = np.radians(after_deg or 0.0) if site == "right_foot" else 0.0
        calibration = Calibration(np.eye(3), np.zeros(3), 0.0, before, None, 0.0, True)
        if after_deg is not None:
            up = (float(np.sin(tilt)), 0.0, float(np.cos(tilt)))
            after = Interval(14.6, 15.0)
            calibration = replace(calibration, still_after=after, up_after=up)
        segments[site] = Conditioned(site, none, none, ~no, no, no, calibration)
    recording = Recording("harbour", Athlete("R07"), Run("R07-01"), {})
    return ConditionedRecording(recording, TIME_S, 500.0, segments)


def found(
    after_deg: float | None, slipped_deg: NDArray[np.float64], steps: Contacts = STEPS
) -> dict[Site, Slip]:
    return find_slips(conditioned(after_deg), feet(slipped_deg), steps, MotionSettings())


def from_stance(first: int, by_deg: float) -> NDArray[np.float64]:
    return np.where(np.arange(8) >= first, by_deg, 0.0)


@pytest.mark.parametrize("after_deg", [20.0, None], ids=["two standings", "none after the run"])
def test_a_step_in_mid_stance_tells_sensor_angle_and_stride(after_deg: float | None) -> None:
    slips = found(after_deg, from_stance(4, 20.0))
    assert list(slips) == ["right_foot"]
    slip = slips["right_foot"]
    own = STEPS.take(STEPS.side == "right")
    assert own.touchdown_s[3] < slip.start_s < own.toe_off_s[3]
    assert own.touchdown_s[4] < slip.end_s < own.toe_off_s[4]
    assert slip.in_run
    assert slip.angle_rad == pytest.approx(BY, abs=np.radians(1.0))
    # Toe up is a turn about the axis to the right; the same turn puts vectors of turned axes back.
    assert slip.turn_rad == pytest.approx((0.0, -BY, 0.0), abs=np.radians(1.0))


@pytest.mark.parametrize("first", [0, 8], ids=["before the first contact", "after the last one"])
def test_a_turn_outside_of_the_contacts_is_told_as_such(first: int) -> None:
    slip = found(20.0, from_stance(first, 20.0))["right_foot"]
    assert not slip.in_run
    own = STEPS.take(STEPS.side == "right")
    if first == 0:
        assert (slip.start_s, slip.end_s < own.toe_off_s[0]) == (10.4, True)
    else:
        assert (slip.start_s > own.touchdown_s[-1], slip.end_s) == (True, 14.6)


def test_standing_that_agrees_means_that_nothing_turned() -> None:
    assert found(0.0, from_stance(4, 20.0)) == {}


def test_without_a_second_standing_a_small_step_is_no_slip() -> None:
    assert found(None, from_stance(4, 3.0)) == {}
    assert found(None, np.zeros(8)) == {}


def test_a_sensor_that_turns_bit_by_bit_did_so_at_no_instant() -> None:
    assert found(20.0, np.linspace(0.0, 20.0, 8)) == {}


def test_a_change_of_both_feet_is_the_runners() -> None:
    change = from_stance(4, 12.0)
    both = motion(
        *(
            segment(site, stances(change, side))
            for site, side in zip(FEET, ("left", "right"), strict=True)
        )
    )
    assert find_slips(conditioned(None), both, STEPS, MotionSettings()) == {}


def test_few_stances_or_one_leg_tell_nothing() -> None:
    slipped = from_stance(4, 20.0)
    assert found(20.0, slipped, STEPS.take(np.arange(6))) == {}
    assert found(20.0, slipped, STEPS.take(STEPS.side == "right")) == {}
