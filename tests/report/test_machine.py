import json
import math

from imuproc.core.flag_list import FLAGS
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Athlete, Run
from imuproc.report.machine import squad_json, summary_json
from imuproc.results.squad import list_squad_runs
from imuproc.results.squad_tables import SquadTables
from imuproc.results.summarising import Measured, summarise_run
from imuproc.results.summary import make_failed_run
from tests.report.fake_result import fake_steps
from tests.report.fake_squad import REASON, squad_runs_by_hand

ATHLETE, RUN = Athlete(id="R07"), Run(id="R07-01", start="blocks")


def test_a_script_reads_runs_figures_flags_and_files() -> None:
    found = {"missing_s": 12.0, "left_out": True}
    flag = RaisedFlag("gap", found, "left_foot", step=3, span_s=(3.5, math.inf))
    done = summarise_run("s", ATHLETE, RUN, Measured(fake_steps(9), (flag,)))
    failed = make_failed_run("s", ATHLETE, Run(id="R07-02"), "no gyroscope")
    content = json.loads(summary_json("s", [done, failed], {"steps.csv": "out/steps.csv"}))
    assert (content["runs_done"], content["runs_failed"]) == (1, 1)
    assert content["files"]["steps.csv"] == "out/steps.csv"
    first, second = content["runs"]
    assert first["steps"] == 9
    assert first["mean_step_length_m"] is None  # missing, not NaN
    assert first["reason"] is None
    assert first["flags"] == [
        {
            "name": "gap",
            "site": "left_foot",
            "step": 3,
            "span": {"from_s": 3.5, "to_s": None},  # it goes on
            "values": found,
            "detail": "not used: 12.00 s are missing from 3.5 s on",
            "serious": False,
            "sentence": FLAGS["gap"].sentence,
            "advice": FLAGS["gap"].advice,
        }
    ]
    assert (second["status"], second["reason"]) == ("failed", "no gyroscope")


def test_any_terminal_can_print_it() -> None:
    failed = make_failed_run("s", ATHLETE, RUN, "found '±'")
    text = summary_json("s", [failed], {})
    assert text.isascii()
    assert json.loads(text)["runs"][0]["reason"] == "found '±'"


def test_a_squad_for_scripts() -> None:
    made = squad_runs_by_hand()
    tables = SquadTables(
        tuple(summary for summary, _ in made),
        {summary.run: steps for summary, steps in made if steps is not None},
        "out",
    )
    content = json.loads(
        squad_json(list_squad_runs(tables, "upright"), "upright", ["a\x1b[2Jnote"])
    )
    assert (content["phase"], content["runs_done"], content["runs_failed"]) == ("upright", 5, 1)
    assert content["notes"] == ["anote"]
    second, third = content["runs"][1:3]
    assert (second["run"], second["best"], second["last"]) == ("R07-02", True, False)
    assert second["steps"] == 8
    assert (third["best"], third["last"]) == (False, True)
    assert third["flags"] == ["gap", "drift_large"]
    failed = content["runs"][4]
    assert (failed["status"], failed["reason"]) == ("failed", REASON)
    assert failed["top_speed_mps"] is None
    assert failed["surely_differ"] == []
