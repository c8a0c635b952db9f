"""``imuproc agree``: what it prints and writes, and what it says of bad input."""

import csv
import json
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.cli.command import Command, Seen, called_once
from tests.report.agreement.made_study import (
    FRAMES,
    INSTANT,
    LONGER_S,
    RUNS,
    contacts,
    results,
    study,
    whole_study,
    write_reference,
)

FILES = {
    "agreement.csv", "agreement.json", "agreement.html", "agreement.txt", "pairs.csv",
    "detection.csv", "clocks.csv", "exclusions.csv", "pictures",
}  # fmt: skip


def said(text: str) -> str:
    """What was printed, without its line breaks."""
    return " ".join(text.split())


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study of five runs; its folder."""
    folder = tmp_path_factory.mktemp("study")
    whole_study(folder)
    return folder


@pytest.fixture(scope="module")
def agreed(made: Path) -> tuple[Path, Seen]:
    """Its agreement, not to be changed, and what was said."""
    return made / "agreement", called_once("agree", made / "study.toml", "-o", made / "agreement")


@pytest.fixture(scope="module")
def agreed_json(made: Path) -> tuple[Path, Seen]:
    """The same once more, with JSON in place of words."""
    out = made / "with_json"
    return out, called_once("agree", made / "study.toml", "-o", out, "--json")


def test_a_study_gives_tables_pictures_words_and_a_page(agreed: tuple[Path, Seen]) -> None:
    out, seen = agreed
    assert seen.code == 0, seen.err
    assert seen.err == ""
    assert "80 of 80 contacts of the reference found, none that it does not have" in said(seen.out)
    assert "Contact time was on average 4." in seen.out
    assert {path.name for path in out.iterdir() if not path.name.startswith(".")} == FILES
    pictures = {path.name for path in (out / "pictures").iterdir()}
    assert {"difference_contact_time_s.svg", "by_step_contact_time_s.png"} <= pictures
    contact = next(
        row
        for row in rows_of(out / "agreement.csv")
        if (row["figure"], row["per"], row["by"]) == ("contact_time_s", "step", "all")
    )
    assert float(contact["bias"]) == pytest.approx(-LONGER_S, abs=0.001)
    assert float(contact["sd"]) == pytest.approx(0.0028, abs=0.0007)
    assert (contact["n"], contact["athletes"], contact["unit"]) == ("80", "3", "s")
    assert "2007" in contact["method"]


def test_every_pair_stands_in_a_table_with_both_values(agreed: tuple[Path, Seen]) -> None:
    out, _ = agreed
    pairs = [row for row in rows_of(out / "pairs.csv") if row["figure"] == "contact_time_s"]
    assert len(pairs) == 80
    assert {row["athlete"] for row in pairs} == {"R07", "R08", "R09"}
    for row in pairs:
        difference = float(row["table"]) - float(row["reference"])
        assert float(row["difference"]) == pytest.approx(difference, abs=1e-8)
        assert float(row["table_u"]) == pytest.approx(0.003)
    assert {row["phase"] for row in pairs} == {"drive", "transition", "upright"}


def test_json_holds_what_a_script_needs(agreed_json: tuple[Path, Seen]) -> None:
    _, seen = agreed_json
    told = json.loads(seen.out)
    assert (told["runs_compared"], told["runs_not_compared"]) == (5, 0)
    assert told["runs"][0]["reference_kind"] == "force plate"
    assert told["runs"][0]["threshold_n"] == 20.0
    assert {row["figure"] for row in told["agreement"]} >= {"contact_time_s", "step_frequency_hz"}
    assert Path(told["files"]["agreement.html"]).is_file()


def test_a_run_that_cannot_be_compared_does_not_stop_the_others(
    imuproc: Command, made: Path, tmp_path: Path
) -> None:
    path = made / "with_failed.toml"
    text = (made / "study.toml").read_text()
    for run in ("R08-02", "R07-09"):
        text += f'\n[[run]]\nid = "{run}"\nresults = "out"\nreference = "seen/R07-01.csv"\n'
        text += f'layout = "other"\n{INSTANT}\n'
    path.write_text(text)
    seen = imuproc("agree", path, "-o", tmp_path / "a")
    assert seen.code == 1
    err = said(seen.err)
    assert "run R08-02 not compared: has no figures, it could not be processed: logs/R08-02" in err
    assert "run R07-09 not compared: found no run 'R07-09' in the results 'out'; allowed:" in err
    assert "All 5 runs" in seen.out
    left_out = [row for row in rows_of(tmp_path / "a/exclusions.csv") if row["of"] == "run"]
    assert {row["run"] for row in left_out} == {"R08-02", "R07-09"}
    assert "R07-09" in (tmp_path / "a/agreement.html").read_text()


def test_with_no_run_compared_the_reasons_are_written(imuproc: Command, tmp_path: Path) -> None:
    tables = results(tmp_path)
    write_reference(tmp_path, "R07-01", contacts(tables["R07-01"]).iloc[:3], None)
    seen = imuproc("agree", study(tmp_path, ("R07-01",), more=""), "-o", tmp_path / "a")
    assert seen.code == 1
    assert "clocks cannot be aligned by events" in said(seen.err)
    assert "give an instant that both saw" in said(seen.err)
    assert "No run could be compared." in seen.out
    assert "clocks cannot be aligned" in (tmp_path / "a/agreement.html").read_text()
    assert [row["of"] for row in rows_of(tmp_path / "a/exclusions.csv")] == ["run"]


def test_a_coach_reads_how_many_steps_and_what_frames_explain(
    imuproc: Command, tmp_path: Path
) -> None:
    tables = results(tmp_path)
    write_reference(tmp_path, "R07-01", contacts(tables["R07-01"]).drop(index=[4]), 240.0)
    seen = imuproc("agree", study(tmp_path, ("R07-01",), FRAMES), "-o", tmp_path / "a")
    assert seen.code == 0, seen.err
    out = said(seen.out)
    assert (
        "R07-01 (R07) against seen/R07-01.csv: 15 of 15 contacts of the reference found, 1" in out
    )
    # 1.96 × 1/240 s / √6: two events, each anywhere within its frame.
    assert "240 pictures or samples per second alone make up to about ±3.3 ms" in out
    lines = [line for line in seen.out.splitlines() if not line.startswith("Written: ")]
    assert max(map(len, lines)) <= 80
    text = (tmp_path / "a/agreement.txt").read_text()
    assert "All steps are of one athlete" in text
    assert "independent pairs" in text
    assert "2007" not in text


# --- Bad input ------------------------------------------------------------------------------------


def refused(imuproc: Command, path: Path, out: Path) -> tuple[int, str]:
    seen = imuproc("agree", path, "-o", out)
    return seen.code, said(seen.err)


def test_a_missing_frame_rate_is_refused(imuproc: Command, tmp_path: Path) -> None:
    results(tmp_path)
    layout = FRAMES.replace("frame_rate_hz = 240\n", "")
    code, err = refused(imuproc, study(tmp_path, layout=layout), tmp_path / "a")
    assert code == 2
    assert 'found unit = "frame" without frame_rate_hz' in err
    assert not (tmp_path / "a").exists()


def spoiled(folder: Path, change: str) -> pd.DataFrame:
    table = contacts(results(folder)["R07-01"])
    if change == "word":
        table.loc[2, "foot"] = "links"
    elif change == "exchanged":
        table["foot"] = table["foot"].map({"left": "right", "right": "left"})
    elif change == "order":
        table.loc[[3, 5]] = table.loc[[5, 3]].to_numpy()
    elif change == "late":
        table[["on", "off"]] += 30.0
    return table


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("word", "found 'links'"),
        ("exchanged", "found 0 steps common to the results and the reference"),
        ("order", "allowed: contacts of a side in order of time"),
        ("late", "found 0 steps common to the results and the reference"),
    ],
)
def test_references_that_cannot_be_right_are_named(
    imuproc: Command, tmp_path: Path, change: str, words: str
) -> None:
    write_reference(tmp_path, "R07-01", spoiled(tmp_path, change), None)
    code, err = refused(imuproc, study(tmp_path, ("R07-01",)), tmp_path / "a")
    assert code == 1
    assert "imuproc: run R07-01 not compared: " in err
    assert words in err


def test_fewer_than_three_common_steps_are_too_few(imuproc: Command, tmp_path: Path) -> None:
    table = contacts(results(tmp_path)["R07-01"])
    table.loc[2:, ["on", "off"]] += 0.115  # between two of ours
    write_reference(tmp_path, "R07-01", table, None)
    code, err = refused(imuproc, study(tmp_path, ("R07-01",)), tmp_path / "a")
    assert code == 1
    assert "found 2 steps common" in err
    assert "allowed: 3 or more" in err


def test_a_shorter_reference_leaves_steps_out_and_says_so(imuproc: Command, tmp_path: Path) -> None:
    table = contacts(results(tmp_path)["R07-01"]).iloc[4:12]
    write_reference(tmp_path, "R07-01", table, None)
    seen = imuproc("agree", study(tmp_path, ("R07-01",)), "-o", tmp_path / "a")
    assert seen.code == 0, seen.err
    assert "8 of 8 contacts of the reference found, none that it does not have" in said(seen.out)
    outside = [r for r in rows_of(tmp_path / "a/exclusions.csv") if "outside" in r["reason"]]
    assert [int(row["step"]) for row in outside] == [1, 2, 3, 4, 13, 14, 15, 16]


def test_a_longer_reference_has_contacts_that_were_missed(imuproc: Command, tmp_path: Path) -> None:
    table = contacts(results(tmp_path)["R07-01"])
    after = table.iloc[-2:].assign(on=lambda t: t["on"] + 0.46, off=lambda t: t["off"] + 0.46)
    write_reference(tmp_path, "R07-01", pd.concat([table, after]), None)
    seen = imuproc("agree", study(tmp_path, ("R07-01",)), "-o", tmp_path / "a")
    assert seen.code == 0, seen.err
    assert "16 of 18 contacts of the reference found (88.9 %; " in said(seen.out)
    assert "2 of the 2 missed lie before or after all steps of the table" in said(seen.out)
    assert "2 lay before or after all steps found" in (tmp_path / "a/agreement.txt").read_text()
    missed = [r for r in rows_of(tmp_path / "a/exclusions.csv") if r["reason"].startswith("missed")]
    assert [int(row["step"]) for row in missed] == [17, 18]


def test_a_reference_of_one_foot_invents_no_steps_of_the_other(
    imuproc: Command, tmp_path: Path
) -> None:
    table = contacts(results(tmp_path)["R07-01"])
    write_reference(tmp_path, "R07-01", table[table["foot"] == "left"], None)
    path = study(tmp_path, ("R07-01",), more=INSTANT + '\nsides = ["left"]', head="")
    seen = imuproc("agree", path, "-o", tmp_path / "a")
    assert seen.code == 0, seen.err
    assert "8 of 8 contacts of the reference found, none that it does not have" in said(seen.out)
    reasons = [row["reason"] for row in rows_of(tmp_path / "a/exclusions.csv")]
    assert reasons.count("the reference looks at the left side only") == 8
    figures = {row["figure"] for row in rows_of(tmp_path / "a/pairs.csv")}
    assert figures == {"touchdown_s", "toe_off_s", "contact_time_s"}  # strides are no steps


def test_a_c3d_without_plates_is_named(imuproc: Command, tmp_path: Path) -> None:
    pytest.importorskip("ezc3d", reason="C3D files for tests are written with ezc3d")
    from tests.readers.c3d_files import Capture, write

    results(tmp_path)
    (tmp_path / "seen").mkdir()
    markers = {"LANK": np.zeros((30, 3))}
    write(tmp_path / "seen/R07-01.c3d", Capture(markers_m=markers))
    (tmp_path / "seen/R07-01.c3d").rename(tmp_path / "seen/R07-01.csv")
    layout = 'format = "c3d"\nevents = "force"\nfirst_side = "left"\n'
    code, err = refused(imuproc, study(tmp_path, ("R07-01",), layout), tmp_path / "a")
    assert code == 1
    assert "force plate" in err


def test_missing_results_and_a_missing_reference_are_named(
    imuproc: Command, tmp_path: Path
) -> None:
    code, err = refused(imuproc, study(tmp_path), tmp_path / "a")
    assert code == 2
    assert "found no steps.csv in the folder 'out'" in err
    results(tmp_path)
    code, err = refused(imuproc, study(tmp_path, ("R07-01",)), tmp_path / "a")
    assert code == 1
    assert "seen/R07-01.csv: there is no such file" in err


# --- The folder -----------------------------------------------------------------------------------


def test_a_folder_of_another_study_is_refused_and_of_the_same_replaced(
    imuproc: Command, made: Path, agreed: tuple[Path, Seen], tmp_path: Path
) -> None:
    out = tmp_path / "a"
    shutil.copytree(agreed[0], out)
    other = made / "other.toml"
    other.write_text((made / "study.toml").read_text().replace("outdoor-2031", "indoor-2032"))
    code, err = refused(imuproc, other, out)
    assert code == 2
    assert "holds the agreement of the study 'outdoor-2031', not of 'indoor-2032'" in err
    fewer = made / "fewer.toml"
    fewer.write_text(study(tmp_path, RUNS[:2]).read_text())
    assert imuproc("agree", fewer, "-o", out, "-q").code == 0
    pictures = {path.name for path in (out / "pictures").iterdir()}
    assert pictures == {
        f"{name}_contact_time_s.{kind}"
        for name in ("difference", "by_step")
        for kind in ("svg", "png")
    }
    assert len({row["run"] for row in rows_of(out / "clocks.csv")}) == 2


def test_results_and_inputs_are_not_written_over(
    imuproc: Command, made: Path, tmp_path: Path
) -> None:
    code, err = refused(imuproc, made / "study.toml", made / "out")
    assert code == 2
    assert "holds results of imuproc process; allowed as output: another folder" in err
    tables = results(tmp_path)
    write_reference(tmp_path, "R07-01", contacts(tables["R07-01"]), None)
    (tmp_path / "seen/R07-01.csv").rename(tmp_path / "seen/pairs.csv")
    path = study(tmp_path, ("R07-01",))
    path.write_text(path.read_text().replace("seen/R07-01.csv", "seen/pairs.csv"))
    code, err = refused(imuproc, path, tmp_path / "seen")
    assert code == 2
    assert "pairs.csv: is an input of this study and would be overwritten" in err


def test_the_same_study_gives_the_same_bytes(
    agreed: tuple[Path, Seen], agreed_json: tuple[Path, Seen]
) -> None:
    one, other = agreed[0], agreed_json[0]
    files = [path.relative_to(one) for path in one.rglob("*") if path.is_file()]
    files = [path for path in files if not path.name.startswith(".")]
    assert len(files) > len(FILES)
    for path in files:
        assert (one / path).read_bytes() == (other / path).read_bytes(), path
