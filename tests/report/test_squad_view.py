import io
from dataclasses import replace

import numpy as np
import pytest
from rich.console import Console

from imuproc.report.squad_view import print_squad
from imuproc.results.squad import SquadRun, list_squad_runs
from imuproc.results.squad_tables import SquadTables
from tests.report.fake_squad import REASON, squad_runs_by_hand


@pytest.fixture(scope="module")
def runs() -> list[SquadRun]:
    made = squad_runs_by_hand()
    steps = {summary.run: steps for summary, steps in made if steps is not None}
    return list_squad_runs(SquadTables(tuple(summary for summary, _ in made), steps, "out"))


def shown(
    runs: list[SquadRun],
    width: int = 80,
    phase: str | None = None,
    is_sorted: bool = False,
    terminal: bool = False,
) -> list[str]:
    out = io.StringIO()
    console = Console(file=out, width=width, force_terminal=terminal, highlight=False)
    print_squad(console, runs, phase, is_sorted)
    return out.getvalue().splitlines()


def changed(of: SquadRun, /, **what: object) -> SquadRun:
    return replace(of, summary=replace(of.summary, **what))  # type: ignore[arg-type]


@pytest.mark.parametrize("width", [80, 120])
def test_each_run_is_one_line_with_its_key_figures(runs: list[SquadRun], width: int) -> None:
    lines = shown(runs, width)
    assert max(map(len, lines)) <= width
    figures = runs[1].summary.figures
    line = next(line for line in lines if line.startswith("R07-02"))
    cells = line.split()
    assert cells[:2] == ["R07-02", "best"]
    expected = [
        "16",
        f"{figures['top_speed_mps']:.2f}",
        "±0.12",
        f"{1000 * figures['mean_contact_time_s']:.0f}",
        f"{figures['mean_step_frequency_hz']:.2f}",
        f"{figures['mean_step_length_m']:.2f}",
        f"{figures['mean_shin_angle_touchdown_deg']:.1f}",
        f"{figures['mean_dorsiflexion_swing_mean_deg']:.1f}",
        "0",
    ]
    assert cells[-9:] == expected
    assert ("three-point" in cells) == (width == 120)


def test_runs_stand_under_their_athlete_and_group(runs: list[SquadRun]) -> None:
    lines = shown(runs)
    assert lines[2:4] == ["R07, group sprint", next(ln for ln in lines if "R07-01" in ln)]
    assert "R08" in lines
    assert "R09, group jumps" in lines


def test_best_and_last_are_words(runs: list[SquadRun]) -> None:
    marks = {
        line.split()[0]: line.split()[1] for line in shown(runs) if line[:1] == "R" and "-" in line
    }
    assert marks["R07-02"] == "best"
    assert marks["R07-03"] == marks["R08-02"] == "last"
    assert (
        marks["R07-01"] == marks["R09-01"] == "30"
    )  # no mark, the distance: nothing to compare it with


def test_a_sure_difference_is_told_and_no_other(runs: list[SquadRun]) -> None:
    lines = shown(runs)
    told = [n for n, line in enumerate(lines) if line.startswith("    L minus R:")]
    assert len(told) == 1
    assert lines[told[0] - 1].startswith("R07-02")
    figure = runs[1].summary.figures["left_minus_right_contact_time_s"]
    assert f"contact +{1000 * figure:.0f} ±" in lines[told[0]]
    legend = [line for line in lines if line.startswith("L minus R")]
    assert len(legend) == 1
    assert not any("L minus R" in line for line in shown(runs[2:]))


def test_a_failed_run_has_its_reason_whole(runs: list[SquadRun]) -> None:
    for width in (44, 80):
        lines = shown(runs, width)
        start = next(n for n, line in enumerate(lines) if line.startswith("R08-02"))
        text = " ".join(" ".join(lines[start : start + 5]).split())
        assert text.startswith(f"R08-02 last failed: {REASON}")
        assert all(line.startswith("      ") for line in lines[start + 1 : start + 2])
    assert lines[-1] == "6 runs of 3 athletes: 5 done, 1 failed."


def test_columns_are_dropped_before_lines_are_broken(runs: list[SquadRun]) -> None:
    lines = shown(runs, 44)
    line = next(line for line in lines if line.startswith("R07-02"))
    assert len(line) <= 44
    assert len(line.split()) == 7  # run, best, speed, contact, shin, toe, flags
    assert "Not shown, the terminal is too narrow:" in " ".join(lines)
    assert "length" in " ".join(lines).partition("Not shown")[2]


def test_long_ids_keep_their_end_and_the_lines_their_width(runs: list[SquadRun]) -> None:
    long = [changed(run, run=f"{'x' * 58}-{n}") for n, run in enumerate(runs)]
    lines = shown(long)
    assert max(map(len, lines)) <= 80
    rows = [line for line in lines if line.startswith("…")]
    assert [line.split()[0][-2:] for line in rows] == [f"-{n}" for n in range(6)]


def test_flags_are_counted_serious_ones_marked_and_all_explained(runs: list[SquadRun]) -> None:
    lines = shown(runs)
    assert next(line for line in lines if line.startswith("R07-03")).endswith(" 2!")
    text = " ".join(" ".join(lines).split())
    assert "1 run drift_large!: Drift is too large: the angle is not given" in text
    assert "1 run gap: " in text


def test_sorted_runs_name_their_athlete_and_keep_their_order(runs: list[SquadRun]) -> None:
    lines = shown(runs[::-1], is_sorted=True)
    assert lines[0].split()[:2] == ["athlete", "run"]
    rows = [line.split()[:2] for line in lines if line.startswith("R0")]
    assert rows[0] == ["R09", "R09-01"]
    assert rows[-1] == ["R07", "R07-01"]
    assert max(map(len, lines)) <= 80


def test_missing_figures_are_a_dash_and_never_nan(runs: list[SquadRun]) -> None:
    figures = dict.fromkeys(runs[0].summary.figures, np.nan)
    lines = shown([changed(runs[0], figures=figures)])
    assert not any("nan" in line.lower() for line in lines)
    assert next(line for line in lines if line.startswith("R07-01")).split()[4:7] == ["-", "-", "-"]


def test_the_phase_is_named(runs: list[SquadRun]) -> None:
    told = "Steps of the phase drive alone; best and flags are of the whole run."
    assert shown(runs, phase="drive")[0] == told


def test_the_headings_stand_again_in_a_long_table(runs: list[SquadRun]) -> None:
    many = [changed(runs[0], athlete=f"R{n:02d}") for n in range(60)]
    assert sum(line.startswith("run ") for line in shown(many)) == 3


def test_nothing_that_a_user_wrote_steers_the_terminal(runs: list[SquadRun]) -> None:
    bad = "\x1b[2J\x07[red]x[/red]"
    failed = changed(runs[4], athlete=bad, run=bad, group=bad, reason=bad)
    text = "\n".join(shown([failed], terminal=True))
    assert "\x1b[2J" not in text
    assert "\x07" not in text
    assert "[red]x[/red]" in text
    assert "\x1b" not in "\n".join(shown([failed]))
