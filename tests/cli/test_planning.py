"""``imuproc simulate --plan`` as a user meets it."""

from pathlib import Path

import pandas as pd
import pytest
import typer
from typer.testing import CliRunner

from imuproc.cli.options import make_command
from imuproc.cli.simulate import SimulateOptions, simulate
from imuproc.core.errors import SessionError

app = typer.Typer(rich_markup_mode=None)
app.command("simulate")(make_command(simulate, SimulateOptions))
run = CliRunner()

PLAN = """
schema = 1
[sensors]
grade = "mid"
rate_hz = 200
[runs]
athletes = 1
runs = 2
distance_m = 10
[[change]]
figure = "contact_time_s"
change = 0.005
step_sd = 0.006
run_sd = 0.003
"""


def test_a_plan_tells_accuracy_and_numbers_and_writes_them(tmp_path: Path) -> None:
    plan, out = tmp_path / "plan.toml", tmp_path / "out"
    plan.write_text(PLAN)
    done = run.invoke(app, [str(out), "--plan", str(plan)])
    assert done.exit_code == 0, done.output
    assert "2 simulated runs: " in done.output
    assert "two-sided, 5 %, power 80 %" in done.output
    assert "real accuracy is worse" in done.output
    accuracy = pd.read_csv(out / "accuracy.csv").set_index("figure")
    changes = pd.read_csv(out / "changes.csv").set_index("figure")
    steps = int(changes.loc["contact_time_s", "steps_needed"])
    rows = [row.split() for row in done.output.splitlines() if row.startswith("contact_time_s")]
    assert [row[3:5] for row in rows][-1] == ["0.006", "0.003"]
    assert rows[-1][5] == str(steps)
    assert accuracy.loc["contact_time_s", "sd"] > 0.0
    with pytest.raises(SessionError, match="is not empty; name a new folder"):
        run.invoke(app, [str(out), "--plan", str(plan)], catch_exceptions=False)


def test_no_other_option_goes_with_a_plan(tmp_path: Path) -> None:
    done = run.invoke(app, [str(tmp_path / "out"), "--plan", "plan.toml", "--rate", "500"])
    assert done.exit_code == 2
    assert "no other option goes with it" in done.output
