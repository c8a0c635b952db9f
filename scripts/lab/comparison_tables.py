"""Tables of errors of several methods, and which has the least."""

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

EVENTS: Final = ("touchdown", "toe-off", "contact time")
SHIN: Final = "shin at touchdown"
PITCH: Final = "foot pitch in swing"
PACKAGE: Final = "package"
"""How the names of the package's own methods begin."""
CLOSE_S: Final = 0.010
START_STEPS: Final = 5
ENOUGH_FOUND: Final = 0.95
"""Methods that find less are not ranked: their errors are of the easy contacts only."""


def remove_offset(errors: pd.DataFrame) -> pd.Series:
    """Errors less the method's mean error in each figure over all other athletes.

    NaN where there is no other athlete.
    """
    key = ["method", "figure"]
    known = errors.dropna(subset="error")
    whole = known.groupby(key)["error"].agg(["sum", "count"])
    own = known.groupby([*key, "athlete"])["error"].agg(["sum", "count"])
    mean = whole.reindex(errors.set_index(key).index).to_numpy()
    taken = own.reindex(errors.set_index([*key, "athlete"]).index).fillna(0.0).to_numpy()
    others = mean - taken
    with np.errstate(invalid="ignore", divide="ignore"):
        offset = np.where(others[:, 1] > 0, others[:, 0] / others[:, 1], np.nan)
    return errors["error"] - offset


def build_event_table(errors: pd.DataFrame) -> pd.DataFrame:
    """Found share, bias, SD, RMSE and share within 10 ms by figure and method, times in ms."""
    errors = errors.assign(free=remove_offset(errors))
    rows = []
    for (figure, method), group in errors.groupby(["figure", "method"], sort=False):
        known = group[group["error"].notna()]
        error, free = known["error"].to_numpy(), known["free"].to_numpy()
        rows.append(
            {
                "figure": figure,
                "method": method,
                "found_percent": 100.0 * len(known) / len(group),
                "bias_ms": 1e3 * error.mean() if len(error) else np.nan,
                "sd_ms": 1e3 * error.std() if len(error) else np.nan,
                "rmse_ms": 1e3 * compute_rms(error),
                "within_10_ms_percent": 100.0 * np.sum(np.abs(error) <= CLOSE_S) / len(group),
                "free_rmse_ms": 1e3 * compute_rms(free),
                "free_within_10_ms_percent": (
                    100.0 * np.sum(np.abs(free) <= CLOSE_S) / len(group)
                    if np.isfinite(free).any()
                    else np.nan
                ),
            }
        )
    return _sort_rows(pd.DataFrame(rows), EVENTS)


def build_angle_table(errors: pd.DataFrame) -> pd.DataFrame:
    """Bias, SD and RMSE in deg by figure, part of the run and method."""
    rows = []
    for part, name in (
        (errors["step"] <= START_STEPS, "1 to 5"),
        (errors["step"] > START_STEPS, "later"),
    ):
        for (figure, method), group in errors[part].groupby(["figure", "method"], sort=False):
            known = group.dropna(subset="error")
            rows.append(_build_angle_row(str(figure), str(method), name, known))
    for (figure, method), group in errors.groupby(["figure", "method"], sort=False):
        rows.append(_build_angle_row(str(figure), str(method), "all", group.dropna(subset="error")))
    return _sort_rows(pd.DataFrame(rows), (SHIN, PITCH))


def _build_angle_row(figure: str, method: str, part: str, known: pd.DataFrame) -> dict[str, object]:
    bias, square = known["error"].mean(), known["square"].mean()
    return {
        "figure": figure,
        "steps": part,
        "method": method,
        "n": len(known),
        "bias_deg": bias,
        "sd_deg": np.sqrt(max(square - bias**2, 0.0)),
        "rmse_deg": np.sqrt(square),
    }


def compute_rms(x: FloatArray) -> float:
    """Root mean square; NaN of nothing."""
    return float(np.sqrt(np.mean(x**2))) if len(x) else float("nan")


def _sort_rows(table: pd.DataFrame, figures: tuple[str, ...]) -> pd.DataFrame:
    order = {figure: k for k, figure in enumerate(figures)}
    return table.sort_values("figure", key=lambda f: f.map(order), kind="stable", ignore_index=True)


def describe_verdict(events: pd.DataFrame, angles: pd.DataFrame) -> str:
    """Which method has the least RMSE in each figure, and by how much."""
    lines = []
    ranked = events[events["found_percent"] >= 100.0 * ENOUGH_FOUND]
    for figure in EVENTS:
        own = ranked[ranked["figure"] == figure]
        for column, what in (("rmse_ms", "as it is"), ("free_rmse_ms", "offset removed")):
            lines.append(_find_least(own, column, f"{figure}, {what}", "ms"))
    for (figure, part), own in angles.groupby(["figure", "steps"], sort=False):
        lines.append(_find_least(own, "rmse_deg", f"{figure}, steps {part}", "deg"))
    return "\n".join(line for line in lines if line)


def _find_least(table: pd.DataFrame, column: str, title: str, unit: str) -> str:
    """The best, and the best of the others that are not (or are) the package's."""
    known = table[table[column].notna()].sort_values(column, kind="stable")
    if known.empty:
        return ""
    first = known.iloc[0]
    ours = known["method"].str.startswith(PACKAGE)
    rest = known[ours != ours.iloc[0]]
    line = f"{title}: least RMSE {first[column]:.2f} {unit} by '{first['method']}'"
    if rest.empty:
        return line
    kind = "published rule" if ours.iloc[0] else "of the package"
    return f"{line}; best {kind} {rest.iloc[0][column]:.2f} {unit} ('{rest.iloc[0]['method']}')"


def print_table(title: str, table: pd.DataFrame, digits: int) -> None:
    """Write a table to the terminal, one block per figure."""
    print(f"\n{title}")
    for figure, own in table.groupby("figure", sort=False):
        print(f"\n  {figure}")
        text = own.drop(columns="figure").to_string(
            index=False, float_format=lambda x: f"{x:.{digits}f}", justify="right"
        )
        print("\n".join(f"    {line}" for line in text.splitlines()))
