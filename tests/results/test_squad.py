import numpy as np
import pytest

from imuproc.core.errors import SessionError
from imuproc.report.squad_view import HEADINGS
from imuproc.results.squad import (
    SquadRun,
    list_squad_runs,
    select_athletes,
    select_group,
    sort_runs,
)
from imuproc.results.squad_tables import SquadTables
from tests.report.fake_squad import squad_runs_by_hand


@pytest.fixture(scope="module")
def tables() -> SquadTables:
    made = squad_runs_by_hand()
    steps = {summary.run: steps for summary, steps in made if steps is not None}
    return SquadTables(tuple(summary for summary, _ in made), steps, "out")


@pytest.fixture
def runs(tables: SquadTables) -> list[SquadRun]:
    return list_squad_runs(tables)


def ids(runs: list[SquadRun]) -> list[str]:
    return [run.summary.run for run in runs]


def test_each_athletes_best_is_the_fastest_and_last_the_last_also_when_it_failed(
    runs: list[SquadRun],
) -> None:
    assert ids([run for run in runs if run.best]) == ["R07-02", "R08-01", "R09-01"]
    assert ids([run for run in runs if run.last]) == ["R07-03", "R08-02", "R09-01"]
    assert ids([run for run in runs if run.only]) == ["R09-01"]


def test_without_lengths_no_run_is_best(tables: SquadTables) -> None:
    from dataclasses import replace

    slow = [replace(run, figures={}) for run in tables.runs]
    assert not any(run.best for run in list_squad_runs(replace(tables, runs=tuple(slow))))


def test_one_phase_alone(tables: SquadTables) -> None:
    whole, drive = (list_squad_runs(tables, phase)[0].summary for phase in (None, "drive"))
    assert (whole.counts["steps"], drive.counts["steps"]) == (16, 6)
    first_six = tables.steps["R07-01"]["contact_time_s"][:6].mean()
    assert drive.figures["mean_contact_time_s"] == pytest.approx(first_six)
    assert drive.figures["top_speed_mps"] < whole.figures["top_speed_mps"]
    assert ids([run for run in list_squad_runs(tables, "drive") if run.best])[0] == "R07-02"


def test_one_phase_alone_has_the_uncertainties_of_its_means(tables: SquadTables) -> None:
    whole, drive = (list_squad_runs(tables, phase)[0].summary for phase in (None, "drive"))
    mean = whole.phases[0].means["contact_time_s"]
    assert drive.figures["mean_contact_time_s_u"] == mean.u
    assert mean.u > whole.figures["mean_contact_time_s_u"]  # of fewer steps
    assert np.isnan(list_squad_runs(tables, "slowing")[0].summary.figures["mean_contact_time_s_u"])


def test_of_some_athletes_and_of_a_group(runs: list[SquadRun]) -> None:
    assert ids(select_athletes(runs, ["r08", "R09"])) == ["R08-01", "R08-02", "R09-01"]
    assert len(select_athletes(runs, [])) == 6
    assert ids(select_group(runs, "Sprint")) == ["R07-01", "R07-02", "R07-03"]
    assert len(select_group(runs, None)) == 6


def test_who_is_not_there_is_told_with_those_who_are(runs: list[SquadRun]) -> None:
    with pytest.raises(SessionError, match="found no athlete R70; allowed: R07, R08, R09"):
        select_athletes(runs, ["R07", "R70"])
    with pytest.raises(SessionError, match="found no group hurdles; allowed: sprint, jumps"):
        select_group(runs, "hurdles")
    with pytest.raises(SessionError, match="no run has a group in its session file"):
        select_group(select_athletes(runs, ["R08"]), "sprint")


@pytest.mark.parametrize(
    ("column", "descending", "expected"),
    [
        ("speed", False, ["R08-01", "R09-01", "R07-01", "R07-03", "R07-02", "R08-02"]),
        ("-speed", False, ["R07-02", "R07-03", "R07-01", "R09-01", "R08-01", "R08-02"]),
        ("top_speed_mps", True, ["R07-02", "R07-03", "R07-01", "R09-01", "R08-01", "R08-02"]),
        ("freq.", False, ["R07-01", "R07-02", "R07-03", "R08-01", "R09-01", "R08-02"]),
        ("-run", False, ["R09-01", "R08-02", "R08-01", "R07-03", "R07-02", "R07-01"]),
        ("-flags", False, ["R07-03", "R07-01", "R07-02", "R08-01", "R09-01", "R08-02"]),
    ],
)
def test_sorted_and_what_is_missing_last(
    runs: list[SquadRun], column: str, descending: bool, expected: list[str]
) -> None:
    assert ids(sort_runs(runs, column, descending, HEADINGS)) == expected


def test_an_unknown_column_is_told_with_those_that_there_are(runs: list[SquadRun]) -> None:
    with pytest.raises(SessionError, match="found no column 'pace' to sort by; allowed: speed"):
        sort_runs(runs, "pace", False, HEADINGS)
