"""Recordings and contacts are plain values: taking from them leaves them as they are."""

from dataclasses import FrozenInstanceError

import numpy as np
import pytest

from imuproc.core.contacts import Contacts
from imuproc.core.recording import Athlete, Interval, Recording, Run, SensorLog, join_logs
from imuproc.core.sites import SIDES, SITES, foot_of, is_foot, shank_of, side_of


def test_an_interval_knows_its_length() -> None:
    assert Interval(2.0, 3.5).duration_s == 1.5


def test_a_recording_cannot_be_changed() -> None:
    recording = Recording("s", Athlete("R07"), Run("R07-01"), {})
    with pytest.raises(FrozenInstanceError, match="cannot assign"):
        recording.session = "other"  # type: ignore[misc]


def test_contacts_are_taken_by_mask_or_index_with_their_evidence() -> None:
    x = np.arange(4.0)
    side = np.array(["left", "right", "left", "right"])
    contacts = Contacts(side, x, x + 0.1, x, x, {"jerk": 10.0 * x})
    left = contacts.take(contacts.side == "left")
    assert (len(contacts), len(left)) == (4, 2)
    assert left.evidence["jerk"].tolist() == [0.0, 20.0]
    back = contacts.take(np.array([3, 0]))
    assert back.side.tolist() == ["right", "left"]
    assert back.toe_off_s.tolist() == [3.1, 0.1]
    assert len(contacts.take(np.zeros(0, dtype=int))) == 0


def test_sites_and_sides_agree() -> None:
    for side in SIDES:
        assert side_of(shank_of(side)) == side_of(foot_of(side)) == side
        assert is_foot(foot_of(side))
        assert not is_foot(shank_of(side))
        assert {shank_of(side), foot_of(side)} <= set(SITES)
    assert side_of("pelvis") is None
    assert not is_foot("pelvis")


def test_pieces_of_a_log_joined_are_the_log() -> None:
    n = np.arange(7.0)
    log = SensorLog("left_foot", n, np.outer(n, [1.0, 2.0, 3.0]), np.outer(n, [4.0, 5.0, 6.0]), "a")
    whole = join_logs(log.take(slice(first, first + 3)) for first in (0, 3, 6))
    for name in ("time_s", "accel_mps2", "gyro_radps"):
        np.testing.assert_array_equal(getattr(whole, name), getattr(log, name))
    assert log.take(n > 4.0).time_s.tolist() == [5.0, 6.0]
    assert join_logs([log]) is log
