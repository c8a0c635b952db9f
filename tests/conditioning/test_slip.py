"""Signals of a sensor that turned on its limb, turned back."""

import numpy as np
import pytest

from imuproc.conditioning.axes.slip import undo_slips
from imuproc.core.recording import Slip
from imuproc.core.sites import Site
from imuproc.dsp.rotations import quat_from_rotvec, quat_rotate
from tests.conditioning.made_legs import RUN, STAND, made, timebased

SITES: tuple[Site, ...] = ("left_foot", "right_foot")
TURN_RAD = np.radians([12.0, -16.0, 0.0])


def test_before_and_after_the_turn_the_signals_are_what_they_would_have_been() -> None:
    sound = timebased(made([STAND, RUN, STAND], SITES))
    time_s, own = sound.time_s, sound.sites["left_foot"]
    middle_s = float(time_s[len(time_s) // 2])
    later = time_s >= middle_s
    slipped = {name: getattr(own, name).copy() for name in ("accel_mps2", "gyro_radps")}
    for signal in slipped.values():  # turned all at once
        signal[later] = quat_rotate(quat_from_rotvec(-TURN_RAD), signal[later])
    own_slipped = type(own)(**{**vars(own), **slipped})
    spoiled = type(sound)(**{**vars(sound), "sites": {**sound.sites, "left_foot": own_slipped}})

    slip = Slip(middle_s - 0.2, middle_s + 0.2, True, tuple(TURN_RAD))
    mended = undo_slips(spoiled, {"left_foot": slip})

    away = np.abs(time_s - middle_s) > 0.21
    for name in slipped:
        got, true = getattr(mended.sites["left_foot"], name), getattr(own, name)
        np.testing.assert_allclose(got[away], true[away], atol=1e-9)
    assert mended.sites["left_foot"].slip == slip
    assert mended.sites["right_foot"] is sound.sites["right_foot"]


@pytest.mark.parametrize(
    ("in_run", "name"), [(True, "sensor_slipped"), (False, "standing_differs")]
)
def test_the_flag_says_how_far(in_run: bool, name: str) -> None:
    sound = timebased(made([STAND, RUN, STAND], SITES))
    slip = Slip(54.0, 54.5, in_run, tuple(TURN_RAD))
    (flag,) = undo_slips(sound, {"left_foot": slip}).flags
    assert (flag.name, flag.site) == (name, "left_foot")
    assert flag.values["by_deg"] == pytest.approx(20.0)
    assert flag.span_s == ((54.0, 54.5) if in_run else None)
