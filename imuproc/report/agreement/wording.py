"""Methods and results of a study as paragraphs for a paper, every number from the data."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any, Final

import numpy as np
import pandas as pd

from imuproc import __version__
from imuproc.agreement.study import ComparedRun, StudyResult
from imuproc.agreement.summing import Agreement
from imuproc.core.words import format_count
from imuproc.report.agreement.citations import SOURCES, Cited, used_sources
from imuproc.report.agreement.quantities import (
    Quantity,
    format_coefficient,
    format_share,
    quantity_of,
)

TOLD: Final = (
    "contact_time_s", "flight_time_s", "step_frequency_hz", "shin_angle_touchdown_deg",
    "shin_angle_toe_off_deg", "foot_pitch_touchdown_deg", "dorsiflexion_touchdown_deg",
    "dorsiflexion_swing_mean_deg",
)  # fmt: skip
"""Figures of which the results speak, in this order; all are in the tables."""
KINDS: Final = {
    "video": "video",
    "force plate": "force plates",
    "photocells": "photocells",
    "events": "events of another method",
    "markers": "optical markers",
}
_FEW_ATHLETES: Final = 10


@dataclass(frozen=True)
class Paragraphs:
    """What a paper needs of a study.

    Parameters
    ----------
    methods, results : str
        With the numbers of their sources in brackets.
    cautions : tuple of str
        What the data cannot tell, a sentence each.
    sources : tuple of str
        In the order of their numbers.
    """

    methods: str
    results: str
    cautions: tuple[str, ...]
    sources: tuple[str, ...]

    def as_text(self) -> str:
        """All of it as plain text."""
        numbered = [f"{k}. {source}" for k, source in enumerate(self.sources, start=1)]
        parts = ["Methods", self.methods, "Results", self.results]
        parts += ["What these data cannot tell", " ".join(self.cautions), "Sources", *numbered]
        return "\n\n".join(part for part in parts[:6]) + "\n\n" + "\n".join(parts[6:]) + "\n"


def write_paragraphs(result: StudyResult) -> Paragraphs:
    """Paragraphs of a study in which at least one run was compared.

    Raises
    ------
    ValueError
        If no run was compared.
    """
    if result.agreement is None:
        raise ValueError("no run was compared: there is nothing to tell")
    cited = Cited(frozenset(used_sources(result)))
    return Paragraphs(
        methods=" ".join(_say_methods(result, result.agreement, cited)),
        results=" ".join(_say_results(result, result.agreement)),
        cautions=tuple(_say_cautions(result, result.agreement)),
        sources=tuple(SOURCES[key] for key in cited.order),
    )


def get_whole(agreement: Agreement, figure: str) -> dict[str, Any] | None:
    """The row of a figure over all steps; None where there is none."""
    table = agreement.agreement
    rows = table[(table["figure"] == figure) & (table["per"] == "step") & (table["by"] == "all")]
    return {str(k): v for k, v in rows.iloc[0].items()} if len(rows) else None


def _say_methods(result: StudyResult, found: Agreement, cite: Cited) -> list[str]:
    athletes = len({one.result.athlete for one in result.compared})
    return [
        f"Figures of single steps were worked out with imuproc {_say_versions(result.compared)} "
        f"from inertial sensors {_say_sensors(result.compared)} and compared with "
        f"{_say_reference(result.compared)}, in {format_count(athletes, 'athlete')}, "
        f"{format_count(_count_runs(result.compared), 'run')} and "
        f"{format_count(_count_pairs(found), 'paired step')}.",
        *_clock_sentences(result.compared),
        f"Contacts of the two methods were paired one to one{_say_windows(result.compared)}. What "
        "both did not see is left out; all exclusions are listed "
        f"({_say_row_count(len(result.exclusions))}).",
        *_limit_sentences(found, cite),
        *_correlation_sentences(found, cite),
        *_resolution_sentences(result.compared, cite),
    ]


def _say_none(count: float) -> str:
    return str(int(count)) if count else "none"


def _say_row_count(count: int) -> str:
    return format_count(count, "row")


def _count_runs(compared: Sequence[ComparedRun]) -> int:
    return len({(one.asked.results, one.result.run) for one in compared})


def _count_pairs(found: Agreement) -> int:
    keys = ["session", "run", "reference_source", "step"]
    return len(found.paired[keys].drop_duplicates())


def _say_versions(compared: Sequence[ComparedRun]) -> str:
    known = sorted({one.result.version for one in compared if one.result.version})
    return " and ".join(known) if known else __version__


def _say_sensors(compared: Sequence[ComparedRun]) -> str:
    sites = sorted({site for one in compared for site in one.result.sites})
    rates = sorted({round(one.result.rate_hz) for one in compared if isfinite(one.result.rate_hz)})
    parts = [
        part for part in ("shank", "foot", "pelvis") if any(site.endswith(part) for site in sites)
    ]
    sides = {site.partition("_")[0] for site in sites} & {"left", "right"}
    places = " and ".join({"shank": "shanks", "foot": "feet"}.get(part, part) for part in parts)
    where = f"on {'both ' if len(sides) == 2 else ''}{places}" if parts else "on the legs"
    at = f" (processed at {' and '.join(map(str, rates))} Hz)" if rates else ""
    return where + at


def _say_reference(compared: Sequence[ComparedRun]) -> str:
    told = []
    for kind in dict.fromkeys(one.reference.kind for one in compared):
        of_kind = [one.reference for one in compared if one.reference.kind == kind]
        rates = sorted({f"{1.0 / r.resolution_s:.4g}" for r in of_kind if r.resolution_s > 0.0})
        limits = sorted({f"{r.threshold_n:g}" for r in of_kind if r.threshold_n is not None})
        about = [f"{' and '.join(rates)} per second" if rates else "resolution not stated"]
        about += [f"contact above {' and '.join(limits)} N"] if limits else []
        told.append(f"{KINDS[kind]} ({', '.join(about)})")
    return " and ".join(told)


def _say_windows(compared: Sequence[ComparedRun]) -> str:
    clocked = {f"{1000 * one.asked.window_s:g}" for one in compared if one.comparison.clock}
    return f" within {' or '.join(sorted(clocked))} ms" if clocked else ""


def _clock_sentences(compared: Sequence[ComparedRun]) -> list[str]:
    by: dict[str, list[float]] = {}
    for one in compared:
        clock = one.comparison.clock
        by.setdefault(clock.source if clock else "none", []).append(
            clock.offset_u_s if clock else np.nan
        )
    ways = {
        "events": "from the pattern of the events themselves",
        "instant": "from an instant that both methods recorded",
        "same clock": "as one and the same",
    }
    out = []
    for source, uncertainty in by.items():
        runs = format_count(len(uncertainty), "run")
        if source == "none":
            out.append(
                f"In {runs} the reference had no clock, and contacts were paired by the order and "
                "pattern of their durations."
            )
            continue
        out.append(
            f"In {runs} the clocks were aligned {ways[source]} (standard uncertainty of the "
            f"offset: median {1000.0 * float(np.median(uncertainty)):.1f} ms)."
        )
    if "events" in by:
        out.append(
            "Where events align the clocks, a constant error that touchdown and toe-off share goes "
            "into the offset: for single events no bias is given then, only scatter within runs."
        )
    return out


def _limit_sentences(found: Agreement, cite: Cited) -> list[str]:
    method = " ".join(found.agreement["method"].astype(str))
    out = ["Differences are imuproc minus reference."]
    forms = []
    if "2007" in method:
        forms.append(
            "with steps nested in athletes and a true value that varies from step to step"
            f"{cite('bland-2007')}, intervals by recovery of variance estimates{cite('zou-2013')}"
        )
    if "independent" in method:
        where = "for groups of one athlete or of one step each, " if "2007" in method else ""
        form = f"{where}for independent pairs{cite('bland-1986')}"
        exact = f", exact intervals{cite('carkeet-2015')}" if "exact" in method else ""
        forms.append(form + exact)
    if forms:
        out.append(
            f"Bias and 95 % limits of agreement were estimated {'; '.join(forms)}. All intervals "
            "are at 95 %."
        )
    if cite.is_used("bland-1999"):
        out.append(
            f"Proportional bias was judged by the slope of difference on mean{cite('bland-1999')}."
        )
    return out


def _correlation_sentences(found: Agreement, cite: Cited) -> list[str]:
    out = []
    if cite.is_used("shrout-1979"):
        model = str(found.agreement["icc_model"].iloc[0])
        text = f"Reported besides are the intraclass correlation of form {model}"
        text += cite("shrout-1979", "mcgraw-1996")
        if cite.is_used("lin-1989"):
            text += f", and Lin's concordance correlation{cite('lin-1989')}"
        out.append(f"{text}; their intervals take steps for independent and are too narrow.")
    if cite.is_used("hopkins-2000"):
        out.append(
            "The typical error is the SD of differences over √2, the smallest detectable change "
            f"1.96 √2 times that{cite('hopkins-2000')}."
        )
    if cite.is_used("wilson-1927"):
        out.append(
            f"Precision and recall of contacts have score intervals{cite('wilson-1927')}, which "
            "take contacts for independent."
        )
    return out


def _resolution_sentences(compared: Sequence[ComparedRun], cite: Cited) -> list[str]:
    if not cite.is_used("jcgm-2008"):
        return []
    known = sorted(
        {one.reference.resolution_s for one in compared if one.reference.resolution_s > 0}
    )
    out = []
    if known:
        out.append(
            "What the reference's resolution adds to the scatter was taken from a uniform "
            f"distribution over one interval{cite('jcgm-2008')}: "
            + " and ".join(f"{1000 * t / np.sqrt(6.0):.1f} ms" for t in known)
            + " (SD) for contact time; for events interpolated between samples this is an upper "
            "bound."
        )
    where = "" if known else cite("jcgm-2008")
    out.append(
        "Coverage is the share of differences within twice the combined standard uncertainty of "
        f"both methods{where}."
    )
    return out


def _say_results(result: StudyResult, found: Agreement) -> list[str]:
    out = []
    total = found.detection_total
    row = total[(total["of"] == "contacts") & (total["part"] == "all")].iloc[0]
    of_reference = int(row["found"] + row["missed"])
    out.append(
        f"Of {format_count(of_reference, 'contact')} of the reference {int(row['found'])} were "
        f"found (recall {format_share(row['recall'])}, {format_share(row['recall_low'])} to "
        f"{format_share(row['recall_high'])}), {_say_none(row['missed'])} missed; "
        f"{_say_none(row['invented'])} were found that the reference does not have (precision "
        f"{format_share(row['precision'])}, {format_share(row['precision_low'])} to "
        f"{format_share(row['precision_high'])})."
    )
    beyond = beyond_of(total)
    if beyond:
        out.append(
            f"Of those missed, {beyond} lay before or after all steps found, where "
            "imuproc ends its table or the athlete is slowing down."
        )
    out += [s for figure in TOLD if (s := _figure_sentence(found, figure))]
    if result.failed:
        out.append(
            f"{format_count(len(result.failed), 'run').capitalize()} could not be compared and "
            f"{'is' if len(result.failed) == 1 else 'are'} in no figure."
        )
    return out


def beyond_of(detection: pd.DataFrame) -> int:
    """Missed contacts before the first or after the last step of the table."""
    rows = detection[(detection["of"] == "contacts") & (detection["part"] == "beyond")]
    return int(rows["missed"].sum())


def _figure_sentence(found: Agreement, figure: str) -> str:
    row = get_whole(found, figure)
    if row is None or not isfinite(row["bias"]):
        return ""
    q = quantity_of(figure)
    text = f"{q.name.capitalize()} {on_average(q, row['bias'])} that of the reference"
    if isfinite(row["bias_low"]):
        around = q.format_interval(row["bias_low"], row["bias_high"])
        text += f" (bias {q.format_number(row['bias'])}, {around})"
    if isfinite(row["sd"]):
        text += (
            f", with limits of agreement from {q.format_number(row['lower'])} "
            f"({q.format_interval(row['lower_low'], row['lower_high'])}) "
            f"to {q.with_unit(row['upper'])} "
            f"({q.format_interval(row['upper_low'], row['upper_high'])})"
        )
    text += f", n = {int(row['n'])} steps"
    if isfinite(row["icc"]):
        text += f"; ICC {format_coefficient(row['icc'])}"
        if isfinite(row["icc_low"]):
            text += (
                f" ({format_coefficient(row['icc_low'])} to {format_coefficient(row['icc_high'])})"
            )
    if isfinite(row["typical_error"]):
        text += f", typical error {q.with_unit(row['typical_error'])}"
    return text + "."


def on_average(q: Quantity, bias: float) -> str:
    """How a bias is told, up to the word before what it is held against."""
    size = q.with_unit(abs(bias))
    if q.format_number(abs(bias)) == q.format_number(0.0):
        return "was on average the same as"
    above, below = ("longer", "shorter") if q.unit in ("ms", "cm") else ("larger", "smaller")
    return f"was on average {size} {above if bias > 0.0 else below} than"


def _say_cautions(result: StudyResult, found: Agreement) -> list[str]:
    athletes = len({one.result.athlete for one in result.compared})
    out = []
    if athletes == 1:
        out.append(
            "All steps are of one athlete: what differs between athletes is not seen, and limits "
            "for others may be wider."
        )
    elif athletes < _FEW_ATHLETES:
        out.append(
            f"With {athletes} athletes the spread between athletes is poorly known; intervals say "
            "how poorly, as far as differences are normally distributed."
        )
    out.append(
        "Steps of one run hang together: a count of steps is no count of independent trials. "
        "Results hold for athletes, speeds, surface and sensors like these and no others."
    )
    out.append(
        "The reference has errors of its own, so differences are not errors of imuproc alone: a "
        "force threshold or a camera's view shifts touchdown and toe-off too."
    )
    if len({one.reference.kind for one in result.compared}) > 1:
        out.append(
            "References of several kinds are taken together here, whose own biases differ: the "
            "table by reference tells them apart."
        )
    if any(not np.isfinite(one.reference.resolution_s) for one in result.compared):
        out.append("A reference's resolution is not stated: what it explains is not known.")
    spread = _within_speed(found.paired)
    if spread:
        out.append(spread)
    return out


def _within_speed(paired: pd.DataFrame) -> str:
    speed = paired.drop_duplicates(["session", "run", "step"])["speed_mps"].to_numpy(dtype=float)
    speed = speed[np.isfinite(speed)]
    if not len(speed):
        return ""
    return f"The paired steps were run at {speed.min():.1f} to {speed.max():.1f} m/s."
