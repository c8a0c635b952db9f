"""Angles through the swing."""

from typing import TYPE_CHECKING

import numpy as np

from imuproc.core.errors import PlotError
from imuproc.plots.looks import SIDE_COLOURS, SIDE_LINES, SOFT, axes_or_new, finish
from imuproc.plots.source import run_to_plot
from imuproc.results.swings import find_swings

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from imuproc.core.result import Result
    from imuproc.results.archive.reading import ArchivedRun


def plot_dorsiflexion(run: "Result | ArchivedRun", axes: "Axes | None" = None) -> "Axes":
    """Ankle dorsiflexion through every swing: each a thin line, the mean of a side a thick one.

    Means leave out steps after the effort (phase ``slowing``), as those of a run do. Swings whose
    angle is withheld are not drawn.

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
        The run has no dorsiflexion, which needs shank and foot of a side, or could not be
        processed.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> result = imuproc.process(session.read_run("R07-01"))
    >>> axes = imuproc.plots.plot_dorsiflexion(result)
    >>> axes.get_legend_handles_labels()[1]
    ['left, mean of 6', 'right, mean of 6']
    """
    shown = run_to_plot(run)
    curves = shown.by_side("dorsiflexion")
    swings = find_swings(shown.steps, "dorsiflexion", shown.time_s(), curves)
    if not swings:
        raise PlotError(f"run {shown.run}: has no swing whose dorsiflexion is known")
    slowing = set(shown.steps.loc[shown.steps["phase"] == "slowing", "step"])
    axes = axes_or_new(axes)
    axes.axhline(0.0, color=SOFT, linewidth=0.9)
    for side, colour in SIDE_COLOURS.items():
        of_side = [swing for swing in swings if swing.side == side]
        for swing in of_side:
            axes.plot(100.0 * swing.share, swing.angle_deg, color=colour, linewidth=0.7, alpha=0.5)
        meant = [swing for swing in of_side if swing.step not in slowing]
        if meant:
            mean = np.mean([swing.angle_deg for swing in meant], axis=0)
            look = {"color": colour, "linestyle": SIDE_LINES[side]}
            label = f"{side}, mean of {len(meant)}"
            axes.plot(100.0 * meant[0].share, mean, linewidth=2.5, label=label, **look)
    axes.set_xlim(0.0, 100.0)
    return finish(axes, shown.run, "Swing, toe-off to touchdown (%)", "Dorsiflexion (deg)")
