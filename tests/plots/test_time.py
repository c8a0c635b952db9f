from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection

from imuproc.core.errors import PlotError
from imuproc.core.result import Result
from imuproc.plots import plot_contacts, plot_motion, plot_signals
from imuproc.results.archive.reading import open_archive
from tests.plots.drawn import bars, line, withheld
from tests.plots.test_all import KEPT

ENDS = ["touchdown_s", "toe_off_s"]


def boxes(axes: Axes) -> np.ndarray:
    """Start, end and row of each contact drawn."""
    out = [
        (path.vertices[:, 0].min(), path.vertices[:, 0].max(), path.vertices[:, 1].mean() > 0.5)
        for made in axes.collections
        if isinstance(made, PolyCollection)
        for path in made.get_paths()
    ]
    return np.array(sorted(out))


def test_bars_are_the_contacts_of_the_table(result: Result, axes: Axes) -> None:
    plot_contacts(result, axes)
    left = result.steps["side"] == "left"
    np.testing.assert_allclose(boxes(axes), result.steps[ENDS].assign(left=left).astype(float))
    half = np.sort(np.ptp(bars(axes)[:, :, 0], axis=1)) / 2.0
    u = np.sort(np.concatenate([result.steps[f"{name}_u"] for name in ENDS]))
    np.testing.assert_allclose(half, 2.0 * u, rtol=1e-5)
    numbers = [int(text.get_text()) for text in axes.texts]
    assert sorted(numbers) == result.steps["step"].tolist()
    assert axes.get_xlabel() == "Time on the log's clock (s)"


def test_a_contact_with_one_end_is_a_cross_at_the_other(result: Result, axes: Axes) -> None:
    open_end = withheld(withheld(result, [4], "toe_off_s"), [7], "touchdown_s")
    plot_contacts(open_end, axes)
    assert len(boxes(axes)) == len(result.steps) - 2
    drawn = np.concatenate([made.get_xydata() for made in axes.lines if made.get_marker() == "x"])
    at = result.steps.set_index("step")
    np.testing.assert_allclose(
        np.sort(drawn[:, 0]), [at.loc[4, "touchdown_s"], at.loc[7, "toe_off_s"]]
    )
    [legend] = [
        text.get_text() for text in axes.get_legend().get_texts() if "end" in text.get_text()
    ]  # type: ignore[union-attr]
    assert legend == "other end not known"


def test_a_run_without_contacts_on_one_side_keeps_its_row(result: Result, axes: Axes) -> None:
    one_leg = replace(result, steps=result.steps[result.steps["side"] == "right"])
    plot_contacts(one_leg, axes)
    assert [label.get_text() for label in axes.get_yticklabels()] == ["left", "right"]
    assert not boxes(axes)[:, 2].any()


@pytest.mark.parametrize(
    ("signal", "factor", "unit"), [("accel", 1.0, "m/s²"), ("gyro", 180.0 / np.pi, "deg/s")]
)
def test_signals_are_those_of_the_sensor(
    signal: str, factor: float, unit: str, result: Result, axes: Axes
) -> None:
    plot_signals(result, "left_foot", signal, axes)  # type: ignore[arg-type]
    segment = result.conditioned.segments["left_foot"]
    values = getattr(segment, {"accel": "accel_mps2", "gyro": "gyro_radps"}[signal])
    for axis, name in enumerate(("x, forward", "y, left", "z, up")):
        drawn = line(axes, name)
        np.testing.assert_array_equal(drawn[:, 0], result.conditioned.time_s)
        np.testing.assert_allclose(
            drawn[segment.measured, 1], factor * values[segment.measured, axis]
        )
    assert axes.get_ylabel().startswith("Left foot ")
    assert axes.get_ylabel().endswith(f"({unit})")


def test_what_was_not_measured_is_a_gap_and_what_clipped_is_marked(
    result: Result, axes: Axes
) -> None:
    segment = result.conditioned.segments["left_foot"]
    lost, clipped = np.zeros((2, len(segment.measured)), dtype=np.bool_)
    lost[4000:4050], clipped[4100:4103] = True, True
    spoiled = replace(segment, measured=~lost, gyro_clipped=clipped)
    segments = {**result.conditioned.segments, "left_foot": spoiled}
    plot_signals(
        replace(result, conditioned=replace(result.conditioned, segments=segments)),
        "left_foot",
        axes=axes,
    )
    np.testing.assert_array_equal(np.isnan(line(axes, "y, left")[:, 1]), lost)
    marked = line(axes, "end of range")
    assert set(marked[:, 0]) == set(result.conditioned.time_s[clipped])
    assert len(marked) == 9


@pytest.mark.parametrize("plot", [plot_signals, plot_motion])
def test_events_of_the_leg_stand_in_view(plot: object, result: Result, axes: Axes) -> None:
    plot(result, "right_shank", axes=axes)  # type: ignore[operator]
    right = result.steps[result.steps["side"] == "right"]
    for name, event in zip(ENDS, ("touchdown", "toe-off"), strict=True):
        drawn = line(axes, f"right {event}")[::3, 0]
        np.testing.assert_array_equal(drawn, right[name])
    low, high = axes.get_xlim()
    assert low < result.steps["touchdown_s"].min()
    assert high > result.steps["toe_off_s"].max()
    assert not [made for made in axes.lines if str(made.get_label()).startswith("left ")]


def test_pitch_has_a_band_of_twice_its_uncertainty(result: Result, axes: Axes) -> None:
    plot_motion(result, "left_shank", axes)
    moved = result.motion.segments["left_shank"]
    pitch, u = np.degrees(moved.pitch_rad), np.degrees(moved.pitch_u_rad)
    np.testing.assert_allclose(np.asarray(axes.lines[0].get_ydata()), pitch)
    [band] = [made for made in axes.collections if isinstance(made, PolyCollection)]
    corners = np.asarray(band.get_paths()[0].vertices)
    at = len(pitch) // 2
    here = np.sort(corners[corners[:, 0] == result.motion.time_s[at], 1])
    np.testing.assert_allclose(here[[0, -1]], [pitch[at] - 2.0 * u[at], pitch[at] + 2.0 * u[at]])
    shin = result.curves["shin_angle_left_deg"].to_numpy()
    assert np.nanmax(np.abs(shin - 90.0 - pitch)) < 15.0  # lean in standing only
    assert axes.get_ylabel() == "Left shank pitch (deg)"


def test_a_site_that_is_not_there_is_named_with_the_nearest(result: Result, axes: Axes) -> None:
    there = "it has: left_shank, left_foot, right_shank, right_foot"
    with pytest.raises(PlotError, match="run R07-01: has no sensor 'left_fot'") as caught:
        plot_signals(result, "left_fot", axes=axes)
    assert f"did you mean 'left_foot'?; {there}" in str(caught.value)
    with pytest.raises(PlotError, match=f"has no sensor 'pelvis'; {there}"):
        plot_motion(result, "pelvis", axes)
    with pytest.raises(ValueError, match="signal is 'magnet'; allowed: accel, gyro"):
        plot_signals(result, "left_foot", "magnet", axes)  # type: ignore[arg-type]
    with open_archive(KEPT) as archive, pytest.raises(PlotError, match="no sensor 'right_shank'"):
        plot_motion(archive.run("R07-01"), "right_shank", axes)
