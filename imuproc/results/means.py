"""The mean of a figure over steps, how far single steps lie about it, and how sure it is.

Each part of the steps' uncertainties goes into the mean by what the steps have in common of it:

- what all steps share stays whole (:data:`imuproc.core.uncertainty.RUN`, and against the truth
  :data:`imuproc.core.uncertainty.SET_UP`);
- what one foot's step is short of, the other foot's has too much (``asymmetry``, the ``clock`` of
  one leg against the other) cancels over pairs of steps;
- what goes by chance from step to step (``stride``) averages out;
- what tells events, and what was not sampled there, is alike in part, since a foot lands and leaves
  in much the same way each time: of it :data:`imuproc.results.symmetry.ALIKE_SHARE` is shared. In
  the times and lengths from one touchdown to the next that is shared by opposite feet, so it
  cancels.

Checked on optically recorded running with sensor signals made from it, 11 runs at each of 2.5, 3.5
and 4.5 m/s (``scripts/accuracy.py --real``, rows ``mean_...``): mean contact times scattered by
5.3, 2.0 and 1.9 ms, where 3.5, 2.6 and 2.4 ms are stated. With errors of events taken for chance
alone it would be about 1.2 ms.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from imuproc.core.columns import BY_NAME, repeat_name, uncertainty_name
from imuproc.core.uncertainty import RUN, SET_UP
from imuproc.results.columns import KEY_FIGURES, count_name, mean_name
from imuproc.results.symmetry import ALIKE_SHARE, TRADED

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Mean:
    """A figure over several steps, in its own unit; NaN where it is not known.

    Parameters
    ----------
    count : int
        Steps that have the figure.
    value : float
        Mean over these.
    sd : float
        Standard deviation between them, divided by n - 1.
    u, u_repeat : float
        Standard uncertainty of the mean against the truth, and between runs in one set-up. What
        the athlete does differently from step to step is in neither.
    """

    count: int
    value: float
    sd: float
    u: float
    u_repeat: float


def compute_means(
    steps: "pd.DataFrame", uncertainty: "Mapping[str, pd.DataFrame]", chosen: Sequence[BoolArray]
) -> list[dict[str, Mean]]:
    """Mean of each key figure over some steps of a run.

    Parameters
    ----------
    steps : DataFrame
        Step table of the run.
    uncertainty : mapping from str to DataFrame
        For each figure its standard uncertainty by named part, rows as in ``steps``. Without a
        figure's parts the uncertainties of its mean are not known.
    chosen : sequence of ndarray of bool, shape (m,) each
        Which steps count.

    Returns
    -------
    list of dict from str to Mean
        For each choice, by :data:`imuproc.results.columns.KEY_FIGURES`.
    """
    left = (steps["side"].to_numpy(dtype=object) == "left").astype(np.bool_)
    out: list[dict[str, Mean]] = [{} for _ in chosen]
    for figure in KEY_FIGURES:
        values = steps[figure].to_numpy(dtype=np.float64)
        names, parts = _select_known_parts(uncertainty.get(figure))
        for means, which in zip(out, chosen, strict=True):
            rows = np.flatnonzero(which & np.isfinite(values))
            u, u_repeat = (
                compute_mean_u(figure, names, parts[rows], left[rows]) if names else _UNKNOWN
            )
            means[figure] = _make_mean(values[rows], u, u_repeat)
    return out


_UNKNOWN: Final = (float("nan"), float("nan"))


def _make_mean(values: FloatArray, u: float, u_repeat: float) -> Mean:
    count, nothing = len(values), float("nan")
    value = float(values.mean()) if count else nothing
    sd = float(values.std(ddof=1)) if count > 1 else nothing
    return Mean(count, value, sd, u, u_repeat)


def _select_known_parts(table: "pd.DataFrame | None") -> tuple[tuple[str, ...], FloatArray]:
    """Names and values of the parts of a figure's uncertainty; a part that no step has is none."""
    if table is None:
        return (), np.empty((0, 0))
    values = table.to_numpy(dtype=np.float64)
    there = ~np.isnan(values).all(axis=0)
    names = tuple(str(name) for name, kept in zip(table.columns, there, strict=True) if kept)
    return names, values[:, there]


def compute_mean_u(
    figure: str, names: tuple[str, ...], parts: FloatArray, left: BoolArray
) -> tuple[float, float]:
    """Standard uncertainties of the mean of a figure.

    Parameters
    ----------
    figure : str
    names : tuple of str
        Of the parts of its standard uncertainty.
    parts : ndarray, shape (n, k)
        These parts of each step that the mean is over.
    left : ndarray of bool, shape (n,)
        Whether the step is one of the left foot.

    Returns
    -------
    u, u_repeat : float
        In the figure's unit, against the truth and within a set-up; NaN without a step. Of one step
        alone they are the step's own.
    """
    if not len(parts):
        return _UNKNOWN
    part = _describe_parts(figure, names)
    turned = np.where(left, 1.0, -1.0)[:, None] * parts
    alike = np.where(part.alternates, turned.mean(axis=0), parts.mean(axis=0))
    own = np.mean(parts**2, axis=0) / len(parts)
    variance = part.share**2 * alike**2 + (1.0 - part.share**2) * own
    return float(np.sqrt(variance.sum())), float(np.sqrt(variance[~part.of_set_up].sum()))


class _Parts(NamedTuple):
    """What steps have in common of the parts of an uncertainty; all arrays of shape (k,)."""

    share: FloatArray  # of the part that all steps have in common, 0 to 1
    alternates: BoolArray  # whether that has the other sign in steps of the other foot
    of_set_up: BoolArray  # whether it is common to a set-up


@cache
def _describe_parts(figure: str, names: tuple[str, ...]) -> _Parts:
    angle, traded = BY_NAME[figure].unit == "deg", figure in TRADED
    share, alternates = np.full(len(names), ALIKE_SHARE), np.full(len(names), traded)
    for at, name in enumerate(names):
        if name in RUN or name in SET_UP:
            share[at], alternates[at] = 1.0, False
        elif name in _BETWEEN_FEET:
            share[at], alternates[at] = 1.0, not angle  # in an angle: shank against foot, each leg
        elif name == _BY_CHANCE:
            share[at] = 0.0
    return _Parts(share, alternates, np.isin(names, list(SET_UP)))


_BETWEEN_FEET: Final = frozenset({"asymmetry", "clock"})
_BY_CHANCE: Final = "stride"


def list_mean_columns(means: Mapping[str, Mean]) -> tuple[dict[str, int], dict[str, float]]:
    """Counts and figures of a row of a table by column name.

    Parameters
    ----------
    means : mapping from str to Mean
        By figure.
    """
    counts = {count_name(figure): mean.count for figure, mean in means.items()}
    figures: dict[str, float] = {}
    for figure, mean in means.items():
        name = mean_name(figure)
        figures |= {
            name: mean.value,
            uncertainty_name(name): mean.u,
            repeat_name(name): mean.u_repeat,
        }
    return counts, figures


def compute_typical_u(
    steps: "pd.DataFrame", uncertainty: "Mapping[str, pd.DataFrame]", figure: str
) -> tuple[float, dict[str, float]] | None:
    """How sure single steps are of a figure, and what makes it up.

    Parameters
    ----------
    steps, uncertainty
        As for :func:`compute_means`.
    figure : str

    Returns
    -------
    tuple of (float, dict from str to float), or None
        Median over the steps of the standard uncertainty against the truth, and of each of its
        parts, largest first; None where no step has it or its parts are not known.
    """
    table = uncertainty.get(figure)
    u = steps[uncertainty_name(figure)].to_numpy(dtype=np.float64)
    known = np.isfinite(u)
    if table is None or not known.any():
        return None
    middle = table[known].median().sort_values(ascending=False)
    return float(np.median(u[known])), {str(name): float(part) for name, part in middle.items()}
