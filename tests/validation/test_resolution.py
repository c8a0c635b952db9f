import numpy as np
import pytest

from imuproc.agreement.statistics.resolution import compute_resolution_sd, explain_by_resolution


# Uniform within a frame: T/√12 for an event, T/√6 for a contact time; computed, in ms.
@pytest.mark.parametrize(
    ("frames_per_s", "event_ms", "contact_ms"),
    [
        (120, 2.41, 3.40),
        (200, 1.44, 2.04),
        (240, 1.20, 1.70),
        (250, 1.15, 1.63),
        (1000, 0.29, 0.41),
    ],
)
def test_what_whole_frames_give(frames_per_s: int, event_ms: float, contact_ms: float) -> None:
    frame = 1.0 / frames_per_s
    assert round(1e3 * compute_resolution_sd("touchdown_s", frame, 0.25), 2) == event_ms
    assert round(1e3 * compute_resolution_sd("contact_time_s", frame, 0.25), 2) == contact_ms
    frequency = compute_resolution_sd("step_frequency_hz", frame, 0.25)
    assert frequency == pytest.approx(16.0 * compute_resolution_sd("step_time_s", frame, 0.25))


def test_rounding_to_frames_scatters_by_what_is_said() -> None:
    rng = np.random.default_rng(2)
    down = rng.uniform(0.0, 100.0, 20000)
    off = down + rng.uniform(0.1, 0.2, 20000)
    frame = 1.0 / 120.0
    seen = np.ceil(off / frame) * frame - np.ceil(down / frame) * frame
    sd = np.std(seen - (off - down))
    assert sd == pytest.approx(compute_resolution_sd("contact_time_s", frame, 0.25), rel=0.03)


def test_shares_of_the_variance() -> None:
    part = explain_by_resolution(5.0, 3.0)
    assert (part.share, part.remaining_sd) == pytest.approx((0.36, 4.0))
    assert explain_by_resolution(2.0, 3.0).remaining_sd == 0.0


def test_angles_and_unknown_frames_are_left_open() -> None:
    assert np.isnan(compute_resolution_sd("shin_angle_touchdown_deg", 0.004, 0.25))
    assert np.isnan(compute_resolution_sd("contact_time_s", np.nan, 0.25))
    assert np.isnan(explain_by_resolution(2.0, np.nan).share)
