"""A very long run keeps its page small: pairs are left out evenly, and the page says so."""

from dataclasses import replace

import numpy as np
import pandas as pd

from imuproc.report.pages.run_page import run_page
from imuproc.report.pages.thinning import MOST_SHOWN, every_nth_pair, thin_steps
from imuproc.report.pages.view import RunView
from imuproc.results.swings import Swing
from tests.report.pages.made_report import SOUND


def long_run(view: RunView, times: int) -> RunView:
    """A run many times as long, its steps repeated."""
    size = len(view.steps) // 2 * 2
    steps = pd.concat([view.steps.iloc[:size]] * times, ignore_index=True)
    steps["step"] = np.arange(1, len(steps) + 1)
    for name in ("touchdown_s", "toe_off_s"):
        steps[name] += 10.0 * (np.arange(len(steps)) // size)
    swing = view.curves["dorsiflexion"][0]
    sides = steps[["step", "side"]].itertuples(index=False)
    curves = tuple(Swing(int(n), str(s), swing.share, swing.angle_deg) for n, s in sides)
    both = {"dorsiflexion": curves, "foot_pitch": curves}
    return replace(view, steps=steps, curves=both, uncertainty={})


def test_usual_runs_are_shown_whole(views: dict[str, RunView]) -> None:
    assert thin_steps(views[SOUND]) is views[SOUND]
    assert "pairs of steps" not in run_page(views[SOUND])


def test_a_long_run_shows_pairs_evenly_and_says_so(views: dict[str, RunView]) -> None:
    view = long_run(views[SOUND], 40)
    shown = thin_steps(view)
    assert every_nth_pair(view) == 6
    assert MOST_SHOWN / 2 < len(shown.steps) <= MOST_SHOWN
    assert shown.steps["step"].tolist()[:6] == [1, 2, 13, 14, 25, 26]
    assert shown.steps["side"].value_counts().nunique() == 1
    page = run_page(view)
    assert "This run has 640 steps. Figures and table show one of every 6 pairs" in page
    assert len(page.encode()) < 1_500_000
