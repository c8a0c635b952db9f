import io
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from rich.console import Console

from imuproc.core.flag_list import FLAGS
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Athlete, Run
from imuproc.report.terminal import print_closing, print_run
from imuproc.results.summarising import Measured, summarise_run
from imuproc.results.summary import RunSummary, make_failed_run
from tests.report.fake_result import fake_steps

ATHLETE = Athlete(id="R07")
RUN = Run(id="R07-01", start="three-point", distance_m=30.0)


def shown(
    summary: RunSummary, steps: pd.DataFrame | None = None, width: int = 80, terminal: bool = False
) -> list[str]:
    out = io.StringIO()
    console = Console(file=out, width=width, force_terminal=terminal, highlight=False)
    print_run(console, summary, steps)
    print_closing(console, [summary])
    return out.getvalue().splitlines()


def wide_steps() -> pd.DataFrame:
    """Every figure as wide as it may get."""
    steps = fake_steps(14)
    steps["phase"] = "transition"
    steps.loc[3, "flight_time_s"] = -0.112
    steps["dorsiflexion_swing_mean_deg"] = -35.5
    steps["dorsiflexion_swing_mean_deg_u"] = 12.4
    steps["shin_angle_touchdown_deg"] = 101.2
    steps.loc[2, "flags"] = "event_unsure;gap;implausible"
    return steps


@pytest.mark.parametrize("width", [80, 120])
def test_each_step_is_one_line_with_all_its_figures(width: int) -> None:
    steps = wide_steps()
    flags = (RaisedFlag("gap", step=3), RaisedFlag("event_unsure", step=3))
    lines = shown(summarise_run("s", ATHLETE, RUN, Measured(steps, flags)), steps, width)
    assert max(map(len, lines)) <= width
    line = next(line for line in lines if line.startswith("   4 right"))
    assert " ".join(line.split()) == (
        "4 right transition 149 ±3 -112 ±3 4.35 ±0.05 101.2 ±0.8 -35.5 ±12.4"
    )


def test_a_narrow_terminal_has_whole_figures_of_fewer_columns() -> None:
    steps = wide_steps()
    flags = (RaisedFlag("gap", step=3), RaisedFlag("event_unsure", step=3))
    lines = shown(summarise_run("s", ATHLETE, RUN, Measured(steps, flags)), steps, width=48)
    assert max(map(len, lines)) <= 48
    line = next(line for line in lines if line.startswith("   4 right"))
    assert line.split() == ["4", "right", "transition", "149", "±3", "101.2", "±0.8"]
    assert "Not shown, the terminal is too narrow: toe deg," in " ".join(" ".join(lines).split())


def test_header_names_who_what_and_how_far() -> None:
    steps = fake_steps(6)
    lines = shown(summarise_run("s", ATHLETE, RUN, Measured(steps)), steps)
    assert " ".join(lines[0].split()) == "R07 run R07-01, three-point start, 30 m, 6 steps"


def test_header_tells_the_time_of_day_where_it_is_known() -> None:
    steps = fake_steps(6)
    known = replace(
        summarise_run("s", ATHLETE, RUN, Measured(steps)),
        start_time="2031-04-12T09:30:10.000+02:00",
    )
    words = " ".join(" ".join(shown(known, steps)[:2]).split())
    assert words.startswith(
        "R07 run R07-01, three-point start, 30 m, 6 steps, at 2031-04-12T09:30:10"
    )


def test_flags_are_letters_in_the_row_and_sentences_below() -> None:
    steps = fake_steps(8)
    steps["flags"] = ["", "gap", "gap", "gap;event_unsure", "", "", "gap", ""]
    flags = (
        RaisedFlag("no_standing_after", site="left_foot"),
        RaisedFlag("gap", step=2),
        RaisedFlag("event_unsure", step=4),
    )
    lines = shown(summarise_run("s", ATHLETE, RUN, Measured(steps, flags)), steps, width=120)
    row = next(line for line in lines if line.startswith("   4 right"))
    assert row.split()[-2:] == ["a", "b"]
    text = " ".join(" ".join(lines).split())
    assert f"a gap (steps 2-4, 7): {FLAGS['gap'].sentence}" in text
    assert "b event_unsure (step 4):" in text
    assert f"c no_standing_after (left foot): {FLAGS['no_standing_after'].sentence}" in text


def test_missing_figures_are_a_dash_and_never_nan() -> None:
    steps = fake_steps(6)
    steps["shin_angle_touchdown_deg"] = np.nan
    lines = shown(summarise_run("s", ATHLETE, RUN, Measured(steps)), steps)
    assert not any("nan" in line.lower() for line in lines)
    last = next(line for line in lines if line.startswith("   6 right"))
    assert last.split()[3:] == ["133", "±3", "-", "-", "-", "9.5", "±0.8"]


def test_means_leave_out_slowing() -> None:
    steps = fake_steps(10)
    steps.loc[7:, "phase"] = "slowing"
    steps.loc[7:, "contact_time_s"] = 0.4
    lines = shown(summarise_run("s", ATHLETE, RUN, Measured(steps)), steps)
    mean = next(line for line in lines if line.split()[:1] == ["mean"])
    assert mean.split()[1] == f"{1000 * steps['contact_time_s'][:7].mean():.0f}"


def test_the_difference_between_the_sides_stands_with_its_uncertainty() -> None:
    steps = fake_steps(16)
    steps["contact_time_s"] = np.where(steps["side"] == "left", 0.128, 0.114)
    lines = shown(summarise_run("s", ATHLETE, RUN, Measured(steps)), steps)
    line = next(line for line in lines if line.lstrip().startswith("L minus R"))
    # 0.6 of 3 ms of each side, the scatter being none: 2.5 ms
    assert line.split()[3:5] == ["14", "±3"]
    row = next(line for line in lines if line.startswith("   4 right"))
    assert line.index("±") == row.index("±")


def test_a_failed_run_says_why_and_is_counted() -> None:
    lines = shown(make_failed_run("s", ATHLETE, RUN, "logs/a.csv: no column 'gx'"))
    assert "Not processed: logs/a.csv: no column 'gx'" in lines
    assert lines[-1] == "1 run: 0 done, 1 failed (R07-01)."


def test_no_colour_codes_when_piped_and_none_from_the_user_in_a_terminal() -> None:
    reason = "found '\x1b[2Jabc\x07' [red]x[/red]"
    piped = shown(make_failed_run("s", ATHLETE, RUN, reason))
    assert not any("\x1b" in line for line in piped)
    in_terminal = "\n".join(shown(make_failed_run("s", ATHLETE, RUN, reason), terminal=True))
    assert "\x1b[" in in_terminal  # our own colours
    assert "\x1b[2J" not in in_terminal
    assert "\x07" not in in_terminal
    assert "[red]x[/red]" in in_terminal


def test_a_run_without_steps_says_so() -> None:
    steps = fake_steps(6).iloc[:0]
    lost = {"missing_s": 12.0, "left_out": True}
    flags = (RaisedFlag("gap", lost, "left_foot", span_s=(3.0, 15.0)),)
    lines = shown(summarise_run("s", ATHLETE, RUN, Measured(steps, flags)), steps)
    assert "No steps." in lines
    assert any(FLAGS["gap"].sentence in line for line in lines)
    assert "[not used: 12.00 s are missing from 3 s on]" in " ".join(lines)
