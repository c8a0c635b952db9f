"""Plots of runs, for people who work in Python.

Each function takes a run, as :func:`imuproc.process` or :func:`imuproc.open_archive` gives it, and
the matplotlib axes to draw into; it returns the axes. Without axes it makes a figure of its own.
The key above the axes names the run: ``axes.get_legend().set_title("words")`` changes that. Where
several stand in one figure, ``layout="constrained"`` leaves room for their keys.

- ``looks``: How plots look: colours, markers, words at the axes.
- ``source``: What plots need of a run, out of a result or out of an open archive.
- ``steps``: Figures of the step table: by step, and a run against another.
- ``swings``: Angles through the swing.
- ``time``: Contacts, signals and motion along time.

Examples
--------
>>> import imuproc
>>> session = imuproc.read_session("data_samples/session.toml")
>>> result = imuproc.process(session.read_run("R07-01"))
>>> axes = imuproc.plots.plot_contacts(result)
>>> axes.figure.savefig("contacts.png")  # doctest: +SKIP
"""

from imuproc.plots.steps import plot_by_step, plot_runs_compared, plot_shin_angle
from imuproc.plots.swings import plot_dorsiflexion
from imuproc.plots.time import plot_contacts, plot_motion, plot_signals

__all__ = [
    "plot_by_step",
    "plot_contacts",
    "plot_dorsiflexion",
    "plot_motion",
    "plot_runs_compared",
    "plot_shin_angle",
    "plot_signals",
]
