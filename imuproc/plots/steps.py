"""Figures of the step table: by step, and a run against another."""

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from imuproc.core.columns import BY_NAME
from imuproc.core.errors import PlotError
from imuproc.plots.looks import (
    COVERAGE,
    GREEN,
    INK,
    PAPER,
    SIDE_COLOURS,
    SIDE_FILLS,
    SIDE_LINES,
    SIDE_MARKERS,
    SOFT,
    Points,
    axes_or_new,
    draw_points,
    finish,
    name_of,
)
from imuproc.plots.source import RunToPlot, run_to_plot

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from imuproc.core.result import Result
    from imuproc.results.archive.reading import ArchivedRun

FloatArray = NDArray[np.float64]


_ALONG: Final = {"step": "Step", "distance": "Distance from step 1 (m)"}
_APART: Final = 0.12  # steps by which the points of two runs stand beside each other
_STRIP: Final = 0.3  # share of the height in which differences stand


def plot_shin_angle(run: "Result | ArchivedRun", axes: "Axes | None" = None) -> "Axes":
    """Shin angle at touchdown by step, drawn as :func:`plot_by_step` draws any figure.

    Parameters
    ----------
    run : Result or ArchivedRun
    axes : matplotlib.axes.Axes, optional
        A new figure when left out.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    PlotError
        The run has no shin angle in any step, or could not be processed.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> result = imuproc.process(session.read_run("R07-01"))
    >>> imuproc.plots.plot_shin_angle(result).get_ylabel()
    'Shin angle at touchdown (deg)'
    """
    return plot_by_step(run, "shin_angle_touchdown_deg", axes)


def plot_by_step(run: "Result | ArchivedRun", figure: str, axes: "Axes | None" = None) -> "Axes":
    """A figure of the step table by step, ±2 standard uncertainties against the truth.

    Crosses at the foot of the axes are steps in which it is withheld or not known.

    Parameters
    ----------
    run : Result or ArchivedRun
    figure : str
        Column of the step table, as ``contact_time_s``.
    axes : matplotlib.axes.Axes, optional
        A new figure when left out.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    PlotError
        No figure has that name, the run has it in no step, or could not be processed.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> result = imuproc.process(session.read_run("R07-01"))
    >>> imuproc.plots.plot_by_step(result, "contact_time_s").get_ylabel()
    'Contact time (s)'
    """
    shown = run_to_plot(run)
    value, u = shown.get_figure(figure)
    points = Points(shown.get_column("step"), value, u)
    missing = points.x[~np.isfinite(value)]
    axes = axes_or_new(axes)
    for side, marker in SIDE_MARKERS.items():
        look = (marker, SIDE_COLOURS[side], SIDE_FILLS[side], side)
        draw_points(axes, points.take(shown.of_side(side)), *look)
    if len(missing):
        foot = axes.get_xaxis_transform()
        at = np.full(len(missing), 0.03)
        axes.plot(missing, at, "x", color=SOFT, transform=foot, label="no value")
    axes.locator_params(axis="x", integer=True)
    return finish(axes, f"{shown.run}, bars ±2 u", _ALONG["step"], name_of(figure))


def plot_runs_compared(
    run: "Result | ArchivedRun",
    other: "Result | ArchivedRun",
    figure: str,
    along: Literal["step", "distance"] = "step",
    axes: "Axes | None" = None,
) -> "Axes":
    """A figure of two runs in one picture and, below, run minus other.

    Differences stand against the axis on the right; filled points are differences beyond twice
    their standard uncertainty. Bars are ±2 of the standard uncertainties between runs of a set-up;
    for runs of two sessions or athletes the posture of standing is added. Along the distance the
    other run is interpolated between its steps, and where a step length is missing nothing is
    known from there on.

    Parameters
    ----------
    run, other : Result or ArchivedRun
    figure : str
        Column of the step table, as ``contact_time_s``.
    along : {"step", "distance"}
        What the runs are compared by: the number of the step, or the distance from step 1 by the
        sum of step lengths.
    axes : matplotlib.axes.Axes, optional
        A new figure when left out.

    Returns
    -------
    matplotlib.axes.Axes
        With the runs; its twin with the differences is the last of the figure.

    Raises
    ------
    PlotError
        No figure has that name, one of the runs has it, or step lengths, in no step, or could not
        be processed.
    ValueError
        ``along`` is neither.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> one, two = (imuproc.process(session.read_run(run)) for run in ("R07-01", "R07-02"))
    >>> axes = imuproc.plots.plot_runs_compared(one, two, "contact_time_s", "distance")
    >>> axes.get_xlabel()
    'Distance from step 1 (m)'
    """
    if along not in _ALONG:
        raise ValueError(f"along is {along!r}; allowed: {', '.join(_ALONG)}")
    both = run_to_plot(run), run_to_plot(other)
    alike = (both[0].session, both[0].athlete) == (both[1].session, both[1].athlete)
    first, second = (_plot_points(shown, figure, along, alike) for shown in both)
    difference = _subtract_points(first, second, along)
    if not np.isfinite(difference.value).any():
        raise PlotError(f"runs {both[0].run} and {both[1].run}: have {figure} nowhere in common")
    axes = axes_or_new(axes)
    apart = _APART if along == "step" else 0.0
    names = both[0].run, both[1].run + (" (other)" if both[1].run == both[0].run else "")
    _draw_run(axes, both[0], replace(first, x=first.x - apart), (names[0], INK, INK, "solid"))
    broken = (names[1], GREEN, PAPER, SIDE_LINES["right"])
    _draw_run(axes, both[1], replace(second, x=second.x + apart), broken)
    for side, marker in SIDE_MARKERS.items():
        axes.plot([], [], marker, color=SOFT, markersize=5.0, label=side)
    axes.plot([], [], "d", color=SOFT, label="beyond 2 u")
    if along == "step":
        axes.locator_params(axis="x", integer=True)
    words = "below: first minus second; bars ±2 u"
    finish(axes, words, _ALONG[along], name_of(figure))
    _draw_differences(axes, difference, f"Difference ({BY_NAME[figure].unit})")
    return axes


def _plot_points(shown: RunToPlot, figure: str, along: str, alike: bool) -> Points:
    """A figure with what is uncertain of it between two runs."""
    value, u = shown.get_figure(figure, repeat=True)
    parts = shown.uncertainty()[figure]
    if not alike and "standing" in parts:
        u = np.hypot(u, parts["standing"].to_numpy())
    x = shown.get_column("step")
    if along == "distance":
        x = np.append(0.0, np.cumsum(shown.get_figure("step_length_m")[0][:-1]))
    return Points(x, value, u)


def _subtract_points(first: Points, second: Points, along: str) -> Points:
    """The first less the second at the first one's places."""
    if along == "step":
        _, here, there = np.intersect1d(first.x, second.x, return_indices=True)
        first, second = first.take(here), second.take(there)
    else:
        known = np.isfinite(second.x)
        x, value, u = second.x[known], second.value[known], second.u[known]
        at = np.where((first.x >= x[0]) & (first.x <= x[-1]), first.x, np.nan)
        second = Points(at, np.interp(at, x, value), np.interp(at, x, u))
    return Points(first.x, first.value - second.value, np.hypot(first.u, second.u))


def _draw_run(
    axes: "Axes", shown: RunToPlot, points: Points, look: tuple[str, str, str, Any]
) -> None:
    """Points by the marker of their side; the look is name, colour, fill and line."""
    name, colour, fill, line = look
    axes.plot(points.x, points.value, color=colour, linewidth=0.9, linestyle=line, label=name)
    for side, marker in SIDE_MARKERS.items():
        draw_points(axes, points.take(shown.of_side(side)), marker, colour, fill)


def _draw_differences(axes: "Axes", difference: Points, words: str) -> None:
    """Differences in a strip below the runs, against an axis of their own on the right."""
    from matplotlib.ticker import MaxNLocator

    low, high = axes.get_ylim()
    axes.set_ylim(high - (high - low) / (1.0 - _STRIP), high)
    axes.set_yticks([tick for tick in axes.get_yticks() if low <= tick <= high])
    axes.spines["left"].set_bounds(low, high)
    bar = COVERAGE * np.nan_to_num(difference.u)
    ends = np.concatenate((difference.value - bar, difference.value + bar, [0.0]))
    bottom, top = np.nanmin(ends), np.nanmax(ends)
    room = 0.1 * (top - bottom) or 1.0
    twin = axes.twinx()
    twin.axhline(0.0, color=SOFT, linewidth=0.9)
    sure = np.abs(difference.value) > bar
    for which, fill in ((sure, SOFT), (~sure, PAPER)):
        draw_points(twin, difference.take(which), "d", SOFT, fill)
    twin.set_ylim(bottom - room, bottom + (top + room - bottom) / (0.9 * _STRIP))
    twin.set_yticks(
        [tick for tick in MaxNLocator(3).tick_values(bottom, top) if bottom <= tick <= top]
    )
    twin.spines["right"].set_bounds(bottom, top)
    twin.spines[["top", "left"]].set_visible(False)
    twin.set_ylabel(words, color=SOFT, loc="bottom")
