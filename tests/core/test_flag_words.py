"""Flags in words: what people read of what was found."""

import math

import pytest

from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_words import describe_flag, find_template, list_template_values
from imuproc.core.flags import RaisedFlag, Values

MARKED = {"samples": 37, "stretches": 2, "first_s": 1.5, "longest_s": 0.402, "longest_at_s": 3.25}
ONE = {**MARKED, "samples": 1, "stretches": 1}


@pytest.mark.parametrize(
    ("name", "values", "words"),
    [
        ("gap", MARKED, "2 gaps, 37 samples; the longest 0.402 s from 3.25 s on"),
        ("gap", ONE, "1 gap, 1 sample; the longest 0.402 s from 3.25 s on"),
        (
            "gap",
            {"lost_s": 0.4, "left_out": True},
            "not used: 0.40 s are missing in fast motion, so its orientation is lost",
        ),
        (
            "gap",
            {"lost_s": 0.4, "used_from_s": 1.0, "used_to_s": 3.5, "left_out": False},
            "0.40 s are missing in fast motion, so its orientation is lost: used from 1 to 3.5 s",
        ),
        ("samples_dropped", ONE, "1 sample missing in 1 place, bridged"),
        ("spikes", MARKED, "37 samples left out, the first at 1.5 s"),
        ("accel_clipped", MARKED, "37 samples in 2 stretches, first at 1.5 s"),
        ("low_rate", {"rate_hz": 125.04}, "125 Hz"),
        (
            "low_rate",
            {"sensor": "gyroscope", "rows": 5.0, "rate_hz": 100.0},
            "gyroscope: a new sample in one of 5 rows only",
        ),
        ("gyro_zero_moved", {"by_degps": 1.24, "left_out": False}, "by 1.2 deg/s"),
        ("gyro_zero_moved", {"by_degps": 6.0, "left_out": True}, "by 6.0 deg/s: not used"),
        ("standing_differs", {"by_deg": 6.04}, "by 6.0 deg"),
        (
            "standing_differs",
            {"by_deg": 6.0, "kept_in_run": True},
            "by 6.0 deg, but nothing changed from the first contact to the last",
        ),
        (
            "irregular_stamps",
            {"spread_pct": 31.6, "evened": True},
            "steps vary by 32 % of the sampling period (SD); samples were taken evenly, so the "
            "stamps were evened",
        ),
        ("drift_large", {"figure": "foot_pitch_toe_off_deg", "value": 9.0}, "foot pitch toe off"),
        ("velocity_unsure", {"figure": "step_length_m", "value": 9.0}, "step length"),
        (
            "clock_unsure",
            {"apart_u_s": 0.0123},
            "left and right leg are known against each other to 12 ms only",
        ),
        (
            "clock_separate",
            {"no_jump": True, "sites": "left_shank;left_foot", "clock_of": "left_shank"},
            "no jump or tap was found that all sensors saw; this part holds left shank and left "
            "foot; times count as left shank counts them",
        ),
        ("outside_evidence", {"outside": 2, "steps": 8}, "2 of 8 steps"),
        ("missing_leg", {"side": "right"}, "right"),
        (
            "distance_differs",
            {"covered_m": 41.23, "covered_u_m": 0.3, "stated_m": 30.0},
            "41.2 m covered from step 1 to the end of the effort (standard uncertainty 0.3 m), "
            "30 m stated",
        ),
        (
            "rate_differs",
            {
                "off_pct": 5.04,
                "off_u_pct": 0.2,
                "rotation": "too small",
                "rate_hz": 525.0,
                "fitting_hz": 500.0,
            },
            "all rotation is 5.0 % (u 0.2 %) too small for the time that the stamps tell: 500 in "
            "place of 525 samples per second would fit",
        ),
        ("run_refused", {"reason": "no sensor {can} be used"}, "no sensor {can} be used"),
        ("event_unsure", {}, ""),
    ],
)
def test_what_was_found_in_words(name: str, values: Values, words: str) -> None:
    assert describe_flag(RaisedFlag(name, values)) == words


@pytest.mark.parametrize(
    ("span_s", "when"),
    [
        ((4.0, 4.598), "from 4 to 4.598 s"),
        ((4.0, math.inf), "from 4 s on"),
        ((-math.inf, 4.5), "up to 4.5 s"),
        ((-math.inf, math.inf), "throughout"),
    ],
)
def test_when_it_was_in_words(span_s: tuple[float, float], when: str) -> None:
    axis = {"sensor": "gyroscope", "axis": "z", "stretches": 1}
    assert (
        describe_flag(RaisedFlag("stuck_channel", axis, span_s=span_s))
        == f"gyroscope axis z {when}"
    )
    twice = RaisedFlag("stuck_channel", {"sensor": "gyroscope", "stretches": 2}, span_s=span_s)
    assert describe_flag(twice) == f"gyroscope, all axes, {when}, in 2 stretches"


@pytest.mark.parametrize(
    ("name", "values", "words"),
    [
        ("no_standing", {}, "still from 3.0 to 4.2 s, but in another posture"),
        ("sensor_slipped", {"by_deg": 20.0}, "by 20.0 deg between 3.04 and 4.16 s"),
        ("partly_covered", {}, "not from 3.04 to 4.16 s"),
        (
            "clock_differs",
            {"foot": "left_foot", "off_s": 0.0304, "shank": "left_shank"},
            "left foot is +30 ms off left shank from 3 to 4 s",
        ),
    ],
)
def test_where_it_stands_in_the_log_in_words(name: str, values: Values, words: str) -> None:
    assert describe_flag(RaisedFlag(name, values, span_s=(3.04, 4.16))) == words


def test_a_flag_of_another_version_names_its_values() -> None:
    assert (
        describe_flag(RaisedFlag("of_the_future", {"by_m": 0.5, "count": 3})) == "by m 0.5, count 3"
    )
    assert describe_flag(RaisedFlag("gap", {"by_m": 0.5})) == "by m 0.5"


def test_a_flag_of_an_archive_of_schema_1_has_its_words() -> None:
    assert describe_flag(RaisedFlag("gap", {"detail": "37 samples"})) == "37 samples"


def test_a_template_is_only_used_where_all_its_values_are_there() -> None:
    for name, flag in FLAGS.items():
        assert find_template(RaisedFlag(name)) is None
        for template in flag.details:
            assert template.strip() == template
            assert not template.endswith("."), name  # it stands in brackets behind a sentence
    assert "site" not in list_template_values(RaisedFlag("gap", site="left_foot"))
