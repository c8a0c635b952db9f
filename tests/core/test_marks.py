"""Which samples of a log a flag is about, and how a part of the log is told of them."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.conditioning.samples.marking import mark_samples
from imuproc.core.flags import RaisedFlag

TIME_S = np.arange(100) / 10.0


def of(*rows: int):
    mask = np.zeros(len(TIME_S), dtype=bool)
    mask[list(rows)] = True
    return mark_samples(TIME_S, mask)


def test_samples_in_a_row_are_one_stretch() -> None:
    found = of(3, 4, 5, 20).list_values()
    assert (found["samples"], found["stretches"], found["first_s"]) == (4, 2, 0.3)


def test_of_stretches_the_longest_is_told() -> None:
    found = of(10, 11, 40, 41, 42, 43).list_values()
    assert (found["longest_s"], found["longest_at_s"]) == pytest.approx((0.3, 4.0))


def test_a_part_of_a_log_is_told_of_its_own_samples_only() -> None:
    flag = RaisedFlag.from_marks("gyro_clipped", of(3, 4, 5, 20, 60, 61), "left_foot")
    part = flag.cut_to(1.0, 6.05)
    assert part is not None
    assert (part.values["samples"], part.values["stretches"]) == (3, 2)
    assert part.span_s == (2.0, np.inf)  # its last stretch goes on behind the part
    assert part.marks is None
    assert flag.cut_to(3.0, 5.0) is None
    whole = RaisedFlag("low_rate", {"rate_hz": 90.0})
    assert whole.cut_to(3.0, 5.0) == whole


def test_what_only_matters_or_not_keeps_its_own_values() -> None:
    marks = mark_samples(TIME_S, TIME_S < 5.0, counted=False)
    flag = RaisedFlag.from_marks("low_rate", marks, "left_foot", {"sensor": "gyroscope"})
    part = flag.cut_to(1.0, 2.0)
    assert part == RaisedFlag("low_rate", {"sensor": "gyroscope"}, "left_foot")
    assert flag.cut_to(6.0, 7.0) is None


@pytest.mark.parametrize(
    ("part_s", "span_s"),
    [
        ((0.0, 9.9), (3.0, 6.0)),
        ((4.0, 9.9), (-np.inf, 6.0)),
        ((0.0, 5.0), (3.0, np.inf)),
        ((4.0, 5.0), (-np.inf, np.inf)),
    ],
)
def test_a_stretch_that_reaches_beyond_the_part_is_told_as_far_as_the_part_goes(
    part_s: tuple[float, float], span_s: tuple[float, float]
) -> None:
    assert of(*range(30, 61)).cut_to(*part_s).find_span_s() == span_s


@pytest.mark.parametrize("cut", [25, 40, 75])
def test_parts_of_a_log_joined_tell_what_the_whole_tells(cut: int) -> None:
    mask = np.zeros(len(TIME_S), dtype=bool)
    mask[[3, *range(30, 61), 80]] = True
    channel = {"sensor": "gyroscope", "axis": "z"}
    whole, one, other = (
        RaisedFlag.from_marks(
            "stuck_channel",
            replace(
                mark_samples(TIME_S[own], mask[own]), from_s=TIME_S[own][0], to_s=TIME_S[own][-1]
            ),
            "left_foot",
            channel,
        )
        for own in (slice(None), slice(None, cut), slice(cut, None))
    )
    assert one.kind == other.kind == whole.kind
    assert one.join(other) == whole
    assert whole.values["samples"] == 33
    assert whole.values["stretches"] == 3


def test_flags_of_two_channels_are_not_joined() -> None:
    one, other = (
        RaisedFlag.from_marks("stuck_channel", of(3, 4), "left_foot", {"axis": axis})
        for axis in "xy"
    )
    assert one.kind != other.kind
