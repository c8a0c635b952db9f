"""Very long runs: pages show a part of the steps, evenly spread, and say so."""

from dataclasses import replace
from typing import Final

from imuproc.report.pages.view import RunView

MOST_SHOWN: Final = 120
"""Steps that a page draws at most: more would make it too large to be sent."""


def every_nth_pair(view: RunView) -> int:
    """Of how many pairs of steps one is shown; 1 where all are."""
    return -(-len(view.steps) // MOST_SHOWN) or 1


def thin_steps(view: RunView) -> RunView:
    """A run with the steps that its page shows: pairs of left and right, evenly spread."""
    nth = every_nth_pair(view)
    if nth == 1:
        return view
    number = view.steps["step"]
    kept = set(number[(number - number.min()) // 2 % nth == 0])
    curves = {
        name: tuple(curve for curve in curves if curve.step in kept)
        for name, curves in view.curves.items()
    }
    return replace(
        view,
        steps=view.steps[number.isin(kept)],
        verdicts=view.verdicts[view.verdicts["step"].isin(kept)],
        curves=curves,
    )
