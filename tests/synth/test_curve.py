"""Runs around a curve."""

import numpy as np
import pytest

from imuproc.synth.curve import bend_around_curve
from tests.synth.made_runs import motion


def test_a_segment_turns_with_the_path_and_keeps_its_shape() -> None:
    track = motion().bones["pelvis"]
    bent = bend_around_curve(track, track.position_m, 36.5)
    way = track.position_m[-1, 0]
    heading = np.arctan2(bent.rotation[-1, 1, 0], bent.rotation[-1, 0, 0])
    assert heading == pytest.approx(way / 36.5, abs=0.01)
    # The path keeps its length and runs on the circle around (0, 36.5).
    assert np.hypot(*(bent.position_m[-1, :2] - [0.0, 36.5])) == pytest.approx(36.5, abs=0.05)
    along = np.linalg.norm(np.diff(bent.position_m[:, :2], axis=0), axis=1).sum()
    straight = np.linalg.norm(np.diff(track.position_m[:, :2], axis=0), axis=1).sum()
    assert along == pytest.approx(straight, rel=0.01)
    np.testing.assert_allclose(
        np.swapaxes(bent.rotation, 1, 2) @ bent.rotation, np.eye(3) + 0 * bent.rotation, atol=1e-12
    )


def test_a_straight_run_is_left_alone() -> None:
    track = motion().bones["pelvis"]
    assert bend_around_curve(track, track.position_m, None) is track
