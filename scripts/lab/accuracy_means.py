"""Means of whole runs held against the means of the truth, beside their stated uncertainties."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.agreement.judging import match_steps, select_judged_steps
from imuproc.core.result import Result
from imuproc.results.columns import mean_name
from imuproc.results.means import compute_means
from imuproc.synth.truth import Truth

FEWEST_STEPS = 3


def compute_mean_errors(
    result: Result, truth: Truth, case: str, effort: NDArray[np.bool_] | None = None
) -> pd.DataFrame:
    """Errors of the means over a run, as rows of :class:`imuproc.agreement.judging.Judged`.

    Parameters
    ----------
    result : Result
    truth : Truth
    case : str
        Name for the rows.
    effort : ndarray of bool, shape (m,), optional
        Which of the judged true steps count; all when left out.

    Returns
    -------
    DataFrame
        One row per key figure: measured minus true mean over the steps that have both, named
        ``mean_`` and the figure; ``step`` is 0.
    """
    real = select_judged_steps(truth)
    counts = np.ones(len(real), dtype=bool) if effort is None else effort
    pairs = [(row, at) for row, at in match_steps(result.steps, real) if counts[at]]
    rows, at = ([pair[k] for pair in pairs] for k in (0, 1))
    true = real.iloc[at].set_index(np.array(rows)).reindex(range(len(result.steps)))
    out = []
    for figure in (name for name in result.uncertainty if name in true):
        known = true[figure].notna().to_numpy()
        mean = compute_means(result.steps, result.uncertainty, [known])[0].get(figure)
        if mean is None or mean.count < FEWEST_STEPS:
            continue
        both = known & result.steps[figure].notna().to_numpy()
        of_truth = float(true[figure][both].mean())
        row = {"figure": mean_name(figure), "error": mean.value - of_truth, "true": of_truth}
        out.append({**row, "u": mean.u, "u_repeat": mean.u_repeat, "step": 0, "side": "both"})
    return pd.DataFrame(out).assign(case=case)
