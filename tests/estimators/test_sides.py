"""Do the logs sit where they say? Feet that roll the wrong way, shanks that move like feet."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.core.flags import RaisedFlag
from imuproc.core.motion import Motion
from imuproc.core.sites import SIDES
from imuproc.estimators.sides import flag_sides
from tests.estimators.made_motion import TIME_S, inward_roll, motion, segment, steady
from tests.usual import METHOD

STEPS = steady("left", 0.25, 0.12, 12)
STILL = np.zeros(len(TIME_S))


EVERYWHERE = np.ones(len(TIME_S), dtype=bool)


def flags_of(found: Motion, known: np.ndarray = EVERYWHERE) -> list[RaisedFlag]:
    """Of sensors that were all measured where told."""
    return flag_sides(found, STEPS, dict.fromkeys(found.segments, known), METHOD.estimators.sides)


def rolling(gain_deg: float) -> Motion:
    """Both feet roll inward by so many deg after touchdown."""
    return motion(
        *(
            segment(f"{side}_foot", STILL, roll_rad=inward_roll(STEPS, side, gain_deg))
            for side in SIDES
        )
    )


@pytest.mark.parametrize("gain_deg", [6.4, 12.0, 26.5])
def test_feet_that_roll_inward_are_in_their_place(gain_deg: float) -> None:
    """6.4 to 26.5 deg in 33 trials of 11 runners (Fukuchi et al. 2017)."""
    assert flags_of(rolling(gain_deg)) == []


@pytest.mark.parametrize("gain_deg", [-1.2, -4.5, -12.0])
def test_feet_that_do_not_roll_inward_are_in_each_others_place(gain_deg: float) -> None:
    (flag,) = flags_of(rolling(gain_deg))
    assert flag.name == "sides_swapped"
    assert flag.values["left_deg"] == pytest.approx(gain_deg, abs=0.5)


def test_one_stiff_foot_raises_nothing() -> None:
    odd = rolling(12.0)
    for gain_deg in (-1.0, -14.0):
        stiff = rolling(gain_deg).segments["left_foot"]
        assert flags_of(replace(odd, segments={**odd.segments, "left_foot": stiff})) == []


def test_one_foot_alone_tells_nothing() -> None:
    lone = rolling(-12.0)
    only = {"left_foot": lone.segments["left_foot"]}
    assert flags_of(replace(lone, segments=only)) == []


def ankle_leg(exchanged: bool):
    """A leg whose ankle snaps open once a stride and bends slowly in between."""
    t = TIME_S - 10.0
    snap = sum(np.exp(-(((t - 0.375 - 0.5 * k) / 0.03) ** 2)) for k in range(10))
    shank_rate = 9.0 * np.sin(2.0 * np.pi * 2.0 * t)
    ankle_rate = 2.0 - 20.0 * snap
    rates = {"shank": shank_rate, "foot": shank_rate + ankle_rate}
    names = {"shank": "foot", "foot": "shank"} if exchanged else {"shank": "shank", "foot": "foot"}
    parts = [segment(f"left_{name}", np.cumsum(rates[of]) / 500.0) for name, of in names.items()]
    return motion(*parts)


def test_shank_and_foot_in_each_others_place_are_noticed() -> None:
    assert flags_of(ankle_leg(False)) == []
    (flag,) = flags_of(ankle_leg(True))
    assert (flag.name, flag.site) == ("segments_swapped", "left_foot")
    assert flag.values["side"] == "left"
    assert flag.values["faster"] < 1.0


def test_what_stands_for_a_lost_part_tells_nothing() -> None:
    """Behind a tear the last value stands for all: here a shank that turns ahead for ever."""
    torn = ankle_leg(False)
    known = np.arange(len(TIME_S)) < np.searchsorted(TIME_S, STEPS.touchdown_s[7])
    shank = torn.segments["left_shank"]
    held = np.where(known, shank.pitch_rate_radps, -40.0)
    legs = {**torn.segments, "left_shank": replace(shank, pitch_rate_radps=held)}
    assert [flag.name for flag in flags_of(replace(torn, segments=legs))] == ["segments_swapped"]
    assert flags_of(replace(torn, segments=legs), known) == []


def test_the_same_log_twice_raises_no_error() -> None:
    swing = 9.0 * np.sin(2.0 * np.pi * 2.0 * TIME_S)
    legs = [segment(site, np.cumsum(swing) / 500.0) for site in ("left_foot", "left_shank")]
    assert flags_of(motion(*legs)) == []
    still = [segment(site, STILL) for site in ("left_foot", "left_shank")]
    assert flags_of(motion(*still)) == []


def test_feet_that_hardly_roll_are_no_alarm() -> None:
    """Out of a start and at full speed a foot lands on its ball and rolls little."""
    assert flags_of(rolling(0.5)) == []
    assert flags_of(rolling(-0.5)) == []
