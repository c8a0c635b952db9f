"""Which samples of a log a flag is about, and how a part of the log is told of them."""

from dataclasses import replace

import numpy as np
import pytest

from imuproc.conditioning.samples.marking import marked
from imuproc.core.flags import RaisedFlag

TIME_S = np.arange(100) / 10.0
WORDS = "{samples} in {stretches}, first at {first}"


def of(*rows: int, words: str = WORDS):
    mask = np.zeros(len(TIME_S), dtype=bool)
    mask[list(rows)] = True
    return marked(TIME_S, mask, words)


def test_samples_in_a_row_are_one_stretch() -> None:
    assert of(3, 4, 5, 20).detail() == "4 samples in 2 stretches, first at 0.3 s"


def test_a_part_of_a_log_is_told_of_its_own_samples_only() -> None:
    flag = RaisedFlag("gyro_clipped", of(3, 4, 5, 20, 60, 61).detail(), marks=of(3, 20, 60, 61))
    part = flag.within(1.0, 6.05)
    assert part is not None
    assert part.detail == "3 samples in 2 stretches, first at 2 s"
    assert part.marks is None
    assert flag.within(3.0, 5.0) is None
    assert RaisedFlag("low_rate", "90 Hz").within(3.0, 5.0) == RaisedFlag("low_rate", "90 Hz")


@pytest.mark.parametrize(
    ("part_s", "told"),
    [
        ((0.0, 9.9), "axis x from 3 to 6 s"),
        ((4.0, 9.9), "axis x up to 6 s"),
        ((0.0, 5.0), "axis x from 3 s on"),
        ((4.0, 5.0), "axis x throughout"),
    ],
)
def test_a_stretch_that_reaches_beyond_the_part_is_told_as_far_as_the_part_goes(
    part_s: tuple[float, float], told: str
) -> None:
    marks = of(*range(30, 61), words="axis x {span}")
    assert marks.within(*part_s).detail() == told


def test_of_gaps_the_longest_is_told() -> None:
    marks = of(10, 11, 40, 41, 42, 43, words="{gaps}, {samples}; the longest {longest}")
    assert marks.detail() == "2 gaps, 6 samples; the longest 0.3 s from 4 s on"


@pytest.mark.parametrize("cut", [25, 40, 75])
def test_parts_of_a_log_joined_tell_what_the_whole_tells(cut: int) -> None:
    mask = np.zeros(len(TIME_S), dtype=bool)
    mask[[3, *range(30, 61), 80]] = True
    whole = marked(TIME_S, mask, WORDS)
    one, other = (
        replace(marked(TIME_S[own], mask[own], WORDS), from_s=TIME_S[own][0], to_s=TIME_S[own][-1])
        for own in (slice(None, cut), slice(cut, None))
    )
    joined = one.joined(other)
    assert joined.detail() == whole.detail() == "33 samples in 3 stretches, first at 0.3 s"
    np.testing.assert_array_equal(joined.end_s, whole.end_s)
