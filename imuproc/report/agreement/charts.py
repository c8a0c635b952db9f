"""The pictures of a study: as files, and as they stand in the page."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from matplotlib.figure import Figure

from imuproc.agreement.study import StudyResult
from imuproc.agreement.summing import CLOCKED
from imuproc.core.columns import FIGURES
from imuproc.report.agreement.moments import moment_picture, say_moment, worst_moments
from imuproc.report.agreement.pictures import difference_picture, step_picture
from imuproc.report.agreement.quantities import quantity_of
from imuproc.report.agreement.wording import get_whole

_LEFT_OUT: Final = ("step_time_s",)
"""Step frequency says the same."""


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture with its words.

    Parameters
    ----------
    name : str
        Of its files.
    figure : Figure
    title, alt, caption : str
    """

    name: str
    figure: Figure
    title: str
    alt: str
    caption: str


def pictures_of(result: StudyResult) -> Iterator[Picture]:
    """All pictures of a study; saved within :func:`imuproc.report.pages.svg.set_drawing`."""
    if result.agreement is None:
        return
    paired = result.agreement.paired
    there = set(paired["figure"]) - {*_LEFT_OUT, *CLOCKED}
    clocked = [f for f in CLOCKED if f in set(paired["figure"])]
    for figure in [*(f for f in FIGURES if f in there), *clocked]:
        q, row = quantity_of(figure), get_whole(result.agreement, figure)
        part = paired[paired["figure"] == figure]
        title = f"{q.name.capitalize()}: difference"
        if figure not in CLOCKED and row is not None:
            limits = f"limits {q.format_number(row['lower'])} to {q.with_unit(row['upper'])}"
            words = f"Bias {q.with_unit(row['bias'])}, {limits}, {len(part)} steps."
            yield Picture(
                f"difference_{figure}",
                difference_picture(part, row),
                f"{title} against mean",
                f"Difference of {q.name} against the mean of both methods. {words}",
                f"{words} A point for each step.",
            )
        yield Picture(
            f"by_step_{figure}",
            step_picture(part, figure),
            f"{title} by step",
            f"Difference of {q.name} by step number, {len(part)} steps.",
            "A point for each step; beside them mean ± SD of each step number.",
        )
    for number, moment in enumerate(worst_moments(result), start=1):
        words = say_moment(moment)
        yield Picture(
            f"signals_{number}",
            moment_picture(moment),
            f"Where they disagree most: {number}",
            f"Signals with the events of both methods. {words}",
            words,
        )
