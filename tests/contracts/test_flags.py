"""Flags: raised as data that their words can use, each with a policy that every reader keeps."""

import ast
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from rich.console import Console

from imuproc.assessment.targets import choose_set, read_targets
from imuproc.assessment.verdicts import find_verdicts
from imuproc.batch.outcome import Row
from imuproc.batch.strict import apply_strict_rule
from imuproc.checks.wording import from_flag
from imuproc.core.columns import FIGURES
from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_policy import POLICY, is_serious, is_told, policy_of
from imuproc.core.flag_words import list_template_names
from imuproc.core.flags import RaisedFlag
from imuproc.core.marks import Marks
from imuproc.core.recording import Athlete, Run
from imuproc.report.machine import summary_json
from imuproc.report.pages import story
from imuproc.report.pages.doubt import list_trouble
from imuproc.report.pages.squad_page import squad_row
from imuproc.report.pages.view import RunView
from imuproc.report.squad_view import print_squad
from imuproc.report.terminal import print_run
from imuproc.results.squad import list_squad_runs
from imuproc.results.squad_tables import SquadTables
from imuproc.results.summarising import Measured, summarise_run
from imuproc.results.summary import RunSummary
from tests.guards.sources import Source, list_sources
from tests.report.fake_result import fake_steps
from tests.simulated import USUAL, make_result

ONE = np.array([1.0])
OF_MARKS = frozenset(Marks(ONE, ONE, np.array([1])).list_values())
OF_SPAN = frozenset({"span", "from_s", "to_s"})


# --- What is raised -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Raising:
    """A place that raises flags: which ones, and what it may tell with them."""

    where: str
    flags: frozenset[str]
    told: frozenset[str]


def called(node: ast.Call) -> str:
    """What is called, as it is written."""
    return ast.unparse(node.func).removeprefix("flags.")


def words(node: ast.AST) -> set[str]:
    """Texts within an expression or a function."""
    found = (part.value for part in ast.walk(node) if isinstance(part, ast.Constant))
    return {value for value in found if isinstance(value, str)}


def keys(node: ast.AST) -> set[str]:
    """Keys of every mapping that is written out in a function."""
    mappings = [part for part in ast.walk(node) if isinstance(part, ast.Dict)]
    stored = [part.slice for part in ast.walk(node) if isinstance(part, ast.Subscript)]
    written = [key for mapping in mappings for key in mapping.keys if key is not None]
    return {name for key in (*written, *stored) for name in words(key)}


def raisings(source: Source) -> Iterator[Raising]:
    """Every place of a module that raises flags, function by function."""
    spans = OF_SPAN if "span_s" in source.text else frozenset()
    for function in ast.walk(source.tree):
        if not isinstance(function, ast.FunctionDef):
            continue
        for node in ast.walk(function):
            if not isinstance(node, ast.Call) or not called(node).startswith("RaisedFlag"):
                continue
            name = node.args[0] if node.args else node.keywords[0].value
            if isinstance(name, ast.JoinedStr):  # f"{sensor}_clipped"
                assert ast.unparse(name) == "f'{sensor}_clipped'", source.where(name)
                names = {"accel_clipped", "gyro_clipped"}
            else:  # a variable: one of the texts of its function, or of its module, is meant
                names = words(name) or words(function) & FLAGS.keys()
                names = names or words(source.tree) & FLAGS.keys()
                assert names, source.where(name)
            marks = OF_MARKS | OF_SPAN if called(node) == "RaisedFlag.from_marks" else frozenset()
            told = marks | spans | keys(function)
            yield Raising(source.where(node), frozenset(names), frozenset(told))


@cache
def all_raisings() -> tuple[Raising, ...]:
    """Those of the package, but for where flags are read back."""
    reading = ("imuproc.core.flags", "imuproc.results")
    return tuple(r for s in list_sources() if not s.name.startswith(reading) for r in raisings(s))


def test_the_flags_that_are_raised_anywhere_are_those_in_the_list() -> None:
    names = {name for raising in all_raisings() for name in raising.flags}
    assert names == FLAGS.keys()
    assert {"no_standing", "gap", "sides_swapped", "gyro_clipped", "drift_large"} <= names


@pytest.mark.parametrize("name", FLAGS)
def test_every_template_uses_what_some_place_that_raises_the_flag_tells(name: str) -> None:
    places = [raising for raising in all_raisings() if name in raising.flags]
    for template in FLAGS[name].details:
        assert any(list_template_names(template) <= place.told for place in places), template


def test_the_scan_sees_what_it_looks_for() -> None:
    text = (
        'def f():\n    v = {"by_m": 1}\n    v["u_m"] = 2\n    return RaisedFlag("gap", v, site)\n'
    )
    text += 'def g():\n    return RaisedFlag.from_marks("spikes", marks, site)\n'
    made = Source(list_sources()[0].path, "made_up", text, ast.parse(text))
    gap, spikes = raisings(made)
    assert (gap.flags, gap.told) == ({"gap"}, {"by_m", "u_m"})
    assert (spikes.flags, spikes.told) == ({"spikes"}, OF_MARKS | OF_SPAN)


def test_flags_speak_to_people() -> None:
    for name, flag in FLAGS.items():
        assert flag.name == name
        assert flag.sentence.endswith(".")
        assert flag.advice.endswith(".")
        assert "_" not in flag.sentence + flag.advice
        assert ";" not in name  # the table joins names by it


def test_raised_flags_are_plain_values() -> None:
    flag = RaisedFlag("gap", {"missing_s": 0.5}, "left_foot", 3)
    assert flag == RaisedFlag("gap", {"missing_s": 0.5}, "left_foot", 3)
    assert flag != RaisedFlag("gap", {"missing_s": 0.6}, "left_foot", 3)
    assert len({flag, RaisedFlag("gap", {"missing_s": 0.5}, "left_foot", 3)}) == 1
    with pytest.raises(AttributeError, match="cannot assign"):
        flag.name = "other"  # type: ignore[misc]


def test_flags_of_steps_in_the_table_are_those_of_the_result() -> None:
    result = make_result(USUAL)
    for step, names in zip(result.steps["step"], result.steps["flags"], strict=True):
        own = {flag.name for flag in result.flags if flag.step == step}
        assert set(filter(None, names.split(";"))) == own


# --- The policy, and who keeps it -----------------------------------------------------------------


def whole_steps() -> pd.DataFrame:
    """Twelve steps with every figure that the pages show."""
    steps = fake_steps(12)
    for name, value in (("step_length_m", 1.8), ("speed_mps", 7.8)):
        steps[[name, f"{name}_u", f"{name}_u_repeat"]] = value, 0.03, 0.03
    return steps


@cache
def view() -> RunView:
    """A run without any flag, and nothing missing."""
    athlete, run = Athlete(id="R07"), Run(id="R07-01", start="blocks")
    steps, targets = whole_steps(), choose_set(read_targets(), None)
    summary = summarise_run("s", athlete, run, Measured(steps, ()))
    return RunView(summary, {}, athlete, run, steps, targets, find_verdicts(steps, targets))


def summary_with(*flags: RaisedFlag) -> RunSummary:
    return replace(view().summary, flags=flags)


def view_with(*flags: RaisedFlag) -> RunView:
    return replace(view(), summary=summary_with(*flags))


def lines(out: Console) -> list[str]:
    assert isinstance(out.file, io.StringIO)
    return [line.rstrip() for line in out.file.getvalue().splitlines()]


def printed(out: Console) -> str:
    return " ".join(" ".join(lines(out)).split())


def console() -> Console:
    return Console(file=io.StringIO(), width=200, highlight=False)


def test_every_flag_has_a_policy_and_no_other_has_one() -> None:
    assert POLICY.keys() == FLAGS.keys()
    for name, policy in POLICY.items():
        concerned = policy.withholds | policy.of_leg
        concerned = concerned.union(*policy.doubts.values())
        assert concerned <= set(FIGURES)
        assert not policy.doubts or policy.grade == "serious", name
        assert policy.doubts.keys() <= {"shank", "foot", "thigh", "pelvis", "trunk"}
        assert policy.grade != "information" or not concerned, name


def test_a_flag_of_another_version_is_a_fault_and_told_as_one() -> None:
    assert policy_of("of_the_future").grade == "fault"
    assert is_told("of_the_future", "squad")
    assert not is_told("of_the_future", "headline")


@pytest.mark.parametrize("name", FLAGS)
def test_strict_fails_the_run_where_the_policy_says_so(name: str) -> None:
    whole, of_step = RaisedFlag(name), RaisedFlag(name, step=3)
    for flags, fails in (((whole,), is_told(name, "strict")), ((of_step,), False)):
        row = Row("R07-01", summary_with(*flags), whole_steps())
        assert [one.failed for one in apply_strict_rule([row])] == [fails]
    of_several = Row("R07", summary_with(whole), whole_steps())
    failed = {one.summary.run for one in apply_strict_rule([of_several]) if one.failed}
    refused = {"R07"} if policy_of(name).of_others else {"R07-01"}
    assert failed == (refused if is_told(name, "strict") else set())


@pytest.mark.parametrize("name", FLAGS)
def test_the_page_of_a_run_keeps_the_policy(name: str) -> None:
    flagged = view_with(RaisedFlag(name))
    (text,) = story.flag_texts(flagged)
    assert is_told(name, "page")
    assert (text.name, text.serious) == (name.replace("_", " "), is_serious(name))
    assert flagged.in_trouble() == is_told(name, "headline")
    assert any(FLAGS[name].advice in told for told in list_trouble(flagged)) == is_told(
        name, "headline"
    )
    assert not view_with(RaisedFlag(name, step=3)).in_trouble()


@pytest.mark.parametrize("name", FLAGS)
def test_the_index_of_pages_keeps_the_policy(name: str) -> None:
    row = squad_row(view_with(RaisedFlag(name)))
    assert (row.state == "trouble") == is_told(name, "headline")
    assert row.flags == (name.replace("_", " "),) * is_told(name, "squad")
    of_step = squad_row(view_with(RaisedFlag(name, step=3)))
    quiet = "remarks" if is_told(name, "squad") else "fine"
    assert of_step.state == ("noted" if is_serious(name) else quiet)


@pytest.mark.parametrize("name", FLAGS)
def test_where_runs_stand_side_by_side_the_policy_is_kept(name: str) -> None:
    summary = summary_with(RaisedFlag(name))
    counted = is_told(name, "squad")
    assert summary.fault_names() == [name] * counted
    runs = list_squad_runs(SquadTables((summary,), {summary.run: whole_steps()}, "out"))
    out = console()
    print_squad(out, runs, None, False)
    words = f"{name}{'!' * is_serious(name)}: {FLAGS[name].sentence}"
    assert (words in printed(out)) == is_told(name, "terminal")
    (line,) = (line for line in lines(out) if line.startswith("R07-01"))
    assert line.endswith(f" {int(counted)}{'!' * is_serious(name)}")


@pytest.mark.parametrize("name", FLAGS)
def test_terminal_and_json_keep_the_policy(name: str) -> None:
    summary = summary_with(RaisedFlag(name, site="left_foot"))
    out = console()
    print_run(out, summary, whole_steps())
    words = f"{name} (left foot): {FLAGS[name].sentence} {FLAGS[name].advice}"
    assert (words in printed(out)) == is_told(name, "terminal")
    ((flag,),) = (run["flags"] for run in json.loads(summary_json("s", [summary], {}))["runs"])
    assert is_told(name, "json")
    assert (flag["name"], flag["site"], flag["serious"]) == (name, "left_foot", is_serious(name))


@pytest.mark.parametrize("name", FLAGS)
def test_the_check_keeps_the_policy(name: str) -> None:
    policy = policy_of(name)
    assert from_flag(RaisedFlag(name)).severity == policy.check
    # What a check calls unfit is no mere remark of processing.
    assert "unfit" not in (policy.check, policy.trial) or policy.grade == "serious"


def test_flags_hold_nothing_but_data() -> None:
    """What a reader needs to know: name, values, place; and marks until the runs are known."""
    names = [field.name for field in fields(RaisedFlag)]
    assert names == ["name", "values", "site", "step", "run", "span_s", "marks"]
