from functools import cache

import numpy as np
import pandas as pd
import pytest

from imuproc.agreement.alignment.clock import Clock, clock_from_instant
from imuproc.agreement.alignment.scene import CompareSettings
from imuproc.agreement.compare import compare
from imuproc.agreement.summing import summarise_study
from imuproc.core.errors import RunError
from imuproc.core.reference import Reference

SAME = clock_from_instant(0.0, 50.0, 0.0, 0.0)


def table(
    count: int = 12, seed: int = 1, athlete: str = "R07", run: str = "R07-01"
) -> pd.DataFrame:
    """Steps as the tool might have them."""
    rng = np.random.default_rng(seed)
    down = 1.0 + np.cumsum(0.24 + 0.005 * rng.standard_normal(count))
    off = down + 0.08 + 0.07 * np.exp(-np.arange(count) / 4.0)
    after = np.append(down[1:], np.nan)
    frame = pd.DataFrame(
        {
            "session": "s",
            "athlete": athlete,
            "run": run,
            "step": np.arange(1, count + 1),
            "side": np.where(np.arange(count) % 2 == 0, "left", "right"),
            "phase": np.where(np.arange(count) < 6, "drive", "upright"),
            "touchdown_s": down,
            "toe_off_s": off,
            "contact_time_s": off - down,
            "flight_time_s": after - off,
            "step_time_s": after - down,
            "step_frequency_hz": 1.0 / (after - down),
            "shin_angle_touchdown_deg": 60.0 + 2.0 * np.arange(count),
            "speed_mps": 5.0 + 0.3 * np.arange(count),
            "flags": "",
        }
    )
    return frame.assign(contact_time_s_u=0.004, touchdown_s_u=0.003, shin_angle_touchdown_deg_u=1.0)


def reference(steps: pd.DataFrame, shift: float = 50.0, longer: float = 0.010) -> Reference:
    """The same contacts on another clock, ``longer`` at the end."""
    n = len(steps)
    gone = np.full(n, np.nan)
    return Reference(
        source="video.csv",
        side=steps["side"].to_numpy(),
        touchdown_s=steps["touchdown_s"].to_numpy() + shift,
        toe_off_s=steps["toe_off_s"].to_numpy() + shift + longer,
        contact_time_s=gone,
        flight_time_s=gone,
        kind="video",
        has_clock=True,
        resolution_s=1.0 / 240.0,
        angles={"shin_angle_touchdown_deg": steps["shin_angle_touchdown_deg"].to_numpy() - 1.5},
    )


def of(frame: pd.DataFrame, figure: str) -> pd.DataFrame:
    """Rows of one figure."""
    return frame[frame["figure"] == figure]


def test_differences_are_table_minus_reference() -> None:
    found = compare(table(), reference(table()), SAME)
    assert of(found.paired, "contact_time_s")["difference"].to_numpy() == pytest.approx(-0.010)
    assert of(found.paired, "flight_time_s")["difference"].to_numpy() == pytest.approx(0.010)
    assert of(found.paired, "shin_angle_touchdown_deg")["difference"].to_numpy() == pytest.approx(
        1.5
    )
    assert len(of(found.paired, "contact_time_s")) == 12
    assert len(of(found.paired, "step_time_s")) == 11


def test_everything_left_out_is_listed_with_its_reason() -> None:
    steps = table()
    theirs = reference(steps).take(np.flatnonzero(np.arange(12) != 5))
    ours = steps.drop(index=8)
    ours.loc[3, ["shin_angle_touchdown_deg", "flags"]] = [np.nan, "range-limited"]
    found = compare(ours, theirs, SAME)
    reasons = found.exclusions.set_index(["of", "step", "figure"])["reason"]
    assert reasons["table", 6, ""].startswith("invented: no contact of the reference within 50 ms")
    assert reasons["reference", 8, ""].startswith("missed: no step")
    assert reasons["table", 4, "shin_angle_touchdown_deg"] == "missing in the table (range-limited)"
    # Step 5 is followed by one that the reference has not: its times would span two steps.
    assert reasons["table", 5, "step_time_s"] == "the next contact is not paired on both sides"
    for figure in ("contact_time_s", "step_time_s", "shin_angle_touchdown_deg"):
        used = len(of(found.paired, figure))
        left = (found.exclusions["figure"] == figure).sum()
        assert used + left == 10  # the pairs of contacts
    whole = found.detection[found.detection["part"] == "all"].set_index("of")
    assert whole.loc["contacts", ["found", "missed", "invented"]].tolist() == [10, 1, 1]


def test_what_the_other_did_not_watch_is_neither_missed_nor_invented() -> None:
    steps = table()
    theirs = reference(steps).take(np.arange(3, 12))
    covers = (0.0, float(steps["touchdown_s"].iloc[9]) + 0.05)
    found = compare(steps, theirs, SAME, CompareSettings(covers_s=covers))
    whole = found.detection[found.detection["part"] == "all"].set_index("of").loc["contacts"]
    assert (whole["missed"], whole["invented"]) == (0, 2)
    reasons = found.exclusions[found.exclusions["figure"] == ""].groupby("reason").size()
    assert reasons["outside what the reference covers"] == 3
    assert reasons["outside what the recording covers"] == 2


def test_first_and_last_contacts_are_counted_apart() -> None:
    steps = table()
    found = compare(steps.iloc[1:], reference(steps), SAME)
    parts = found.detection[found.detection["of"] == "contacts"].set_index("part")
    assert parts.loc["first", ["found", "missed"]].tolist() == [0, 1]
    assert parts.loc["last", ["found", "missed"]].tolist() == [1, 0]
    assert parts.loc["between", "recall"] == 1.0


def test_contacts_that_lie_after_all_steps_of_the_table_are_told_apart() -> None:
    """A table ends with the effort, a camera sees the walk after it: missed, not at random."""
    steps = table()
    found = compare(steps.iloc[:8].drop(index=4), reference(steps), SAME)
    parts = found.detection[found.detection["of"] == "contacts"].set_index("part")
    assert parts.loc["all", ["found", "missed"]].tolist() == [7, 5]
    assert parts.loc["beyond", ["found", "missed"]].tolist() == [0, 4]
    whole = summarise_study([found]).detection_total.set_index(["of", "part"])
    assert whole.loc[("contacts", "beyond"), "missed"] == 4


def test_photocells_without_clock_pair_by_durations() -> None:
    steps = table(30, seed=3)
    theirs = reference(steps)
    gone = np.full(30, np.nan)
    cells = Reference(
        source="cells.csv",
        side=np.full(30, ""),
        touchdown_s=gone,
        toe_off_s=gone,
        contact_time_s=(theirs.toe_off_s - theirs.touchdown_s),
        flight_time_s=np.append(theirs.touchdown_s[1:] - theirs.toe_off_s[:-1], np.nan),
        kind="photocells",
        has_clock=False,
        resolution_s=0.001,
    ).take(np.arange(4, 28))
    found = compare(steps, cells)
    contact = of(found.paired, "contact_time_s")
    assert len(contact) >= 10
    assert contact["difference"].to_numpy() == pytest.approx(-0.010, abs=1e-9)
    assert (contact["step"] - contact["reference_row"] == 4).all()
    assert "touchdown_s" not in set(found.paired["figure"])
    assert found.clock is None


@pytest.mark.parametrize(
    ("steps", "why"),
    [
        (table().iloc[:0], "nothing to compare: 0 steps"),
        (table().drop(columns="side"), "step table lacks side"),
        (pd.concat([table(), table(run="R07-02")]), "steps of one run are needed, found 2"),
    ],
)
def test_what_cannot_be_compared_is_told(steps: pd.DataFrame, why: str) -> None:
    with pytest.raises(RunError, match=why):
        compare(steps, reference(table()), SAME)


@cache
def whole_study(clock: Clock | None) -> pd.DataFrame:
    """Agreement of three athletes with two runs each, contact times off by 8, 10, 12 ms."""
    found = []
    for number, longer in enumerate((0.008, 0.010, 0.012)):
        for run in (1, 2):
            code = f"R{number:02d}"
            steps = table(14, 10 * number + run, code, f"{code}-{run:02d}")
            noise = 0.002 * np.random.default_rng([number, run]).standard_normal(14)
            found.append(compare(steps, reference(steps, longer=longer + noise), clock))
    return summarise_study(found).agreement


def test_a_study_has_every_figure_whole_and_in_parts() -> None:
    agreement = whole_study(clock=SAME)
    contact = of(agreement, "contact_time_s")
    assert set(contact["by"]) == {"all", "phase", "side", "reference", "speed"}
    whole = contact[(contact["by"] == "all") & (contact["per"] == "step")].iloc[0]
    assert (whole["n"], whole["runs"], whole["athletes"]) == (84, 6, 3)
    assert whole["bias"] == pytest.approx(-0.010, abs=0.001)
    assert "2007" in whole["method"]
    assert whole["lower"] < whole["bias"] < whole["upper"]
    assert whole["lower_low"] < whole["lower"] < whole["lower_high"]
    # Frames of 1/240 s: T/√6 = 1.70 ms
    assert whole["resolution_sd"] == pytest.approx(0.0017, abs=5e-6)
    assert 0.0 < whole["resolution_share"] <= 1.0
    assert 0.0 <= whole["within_2u"] <= 1.0
    per_run = contact[contact["per"] == "run"].iloc[0]
    assert per_run["n"] == 6
    assert per_run["sd"] < whole["sd"]


def test_a_clock_from_the_events_hides_their_bias_and_says_so() -> None:
    agreement = whole_study(clock=None)
    row = of(agreement, "touchdown_s").query("by == 'all' and per == 'step'").iloc[0]
    assert np.isnan([row["bias"], row["lower"], row["icc"]]).all()
    assert row["sd"] > 0.0
    assert "bias cannot be seen" in row["note"]
    contact = of(agreement, "contact_time_s").query("by == 'all' and per == 'step'").iloc[0]
    assert contact["bias"] == pytest.approx(-0.010, abs=0.001)


@pytest.mark.parametrize("clock", [SAME, None])
def test_the_change_that_can_be_seen_follows_from_the_sd_of_its_row(clock: Clock | None) -> None:
    """Typical error SD/√2, smallest detectable change 1.96 √2 of it (Hopkins 2000)."""
    rows = whole_study(clock=clock).query("sd == sd")
    assert len(rows) > 20
    assert rows["typical_error"].to_numpy() == pytest.approx(rows["sd"].to_numpy() / np.sqrt(2.0))
    seen = rows["smallest_detectable_change"].to_numpy()
    assert seen == pytest.approx(1.96 * rows["sd"].to_numpy())


def test_the_worthwhile_change_takes_the_error_of_means_out_of_means() -> None:
    """Per athlete some 28 steps: the error of a single step would take too much away."""
    found = []
    for number in range(4):
        steps = table(28, number, f"R{number:02d}", f"R{number:02d}-01")
        steps[["toe_off_s", "contact_time_s"]] += 0.02 * number
        noise = 0.006 * np.random.default_rng(number).standard_normal(28)
        found.append(compare(steps, reference(steps, longer=noise), SAME))
    agreement = summarise_study(found)
    row = of(agreement.agreement, "contact_time_s").query("by == 'all' and per == 'step'").iloc[0]
    pairs = of(agreement.paired, "contact_time_s")
    means = pairs.groupby("athlete")[["table", "difference"]].mean()
    true = means["table"].var() - means["difference"].var() / 2.0
    assert row["smallest_worthwhile_change"] == pytest.approx(0.2 * np.sqrt(true))


def test_runs_of_one_name_in_two_sessions_are_two_runs() -> None:
    found = []
    for number, session in enumerate(("spring", "autumn")):
        steps = table(14, number).assign(session=session)
        # Aligned by events, each run's own shift is hidden; together they would look like scatter.
        made = Clock("events", 50.0 + 0.02 * number, 0.001, 0.0)
        found.append(compare(steps, reference(steps), made))
    row = (
        of(summarise_study(found).agreement, "touchdown_s")
        .query("by == 'all' and per == 'step'")
        .iloc[0]
    )
    assert row["runs"] == 2
    assert row["sd"] == pytest.approx(0.0, abs=1e-9)


def test_fewer_than_three_steps_give_a_bias_and_a_sentence() -> None:
    few = compare(table(2), reference(table(2)), SAME)
    row = (
        of(summarise_study([few]).agreement, "contact_time_s")
        .query("by == 'all' and per == 'step'")
        .iloc[0]
    )
    assert row["bias"] == pytest.approx(-0.010)
    assert np.isnan(row["sd"])
    assert "2 pairs: at least 3" in row["note"]


def test_a_study_needs_something() -> None:
    with pytest.raises(ValueError, match="at least one comparison"):
        summarise_study([])
