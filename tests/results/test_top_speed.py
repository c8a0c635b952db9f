import numpy as np
import pandas as pd
import pytest

from imuproc.results.top_speed import find_top_speed


def steps_of(speed_mps: list[float], time_s: float = 0.25) -> pd.DataFrame:
    speed = np.array(speed_mps)
    return pd.DataFrame(
        {
            "step": np.arange(1, len(speed) + 1),
            "step_length_m": speed * time_s,
            "step_time_s": time_s,
            "speed_mps_u": 0.1,
        }
    )


def test_it_is_the_mean_over_the_fastest_four_steps() -> None:
    fastest = find_top_speed(steps_of([5.0, 7.0, 8.0, 9.0, 8.0, 9.0, 7.0]))
    assert fastest.value_mps == pytest.approx(8.5)
    assert fastest.u_mps == pytest.approx(0.1)


def test_one_wrong_step_does_not_make_it() -> None:
    assert find_top_speed(steps_of([8.0] * 9 + [10.0])).value_mps == pytest.approx(8.5)


def test_long_steps_count_for_their_time() -> None:
    steps = steps_of([8.0, 8.0, 8.0, 8.0])
    steps["step_length_m"], steps["step_time_s"] = [2.0] * 4, [0.2, 0.3, 0.2, 0.3]
    assert find_top_speed(steps).value_mps == pytest.approx(8.0)


def test_four_steps_in_a_row_are_needed() -> None:
    assert np.isnan(find_top_speed(steps_of([8.0, 8.0, 8.0])).value_mps)
    missed = steps_of([8.0] * 6)
    missed["step"] = [1, 2, 3, 5, 6, 7]
    assert np.isnan(find_top_speed(missed).value_mps)
    withheld = steps_of([8.0] * 6)
    withheld.loc[2, "step_length_m"] = np.nan
    assert np.isnan(find_top_speed(withheld).value_mps)
    assert np.isnan(find_top_speed(steps_of([])).value_mps)
