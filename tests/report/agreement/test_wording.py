"""Paragraphs, sentences and numbers of a study."""

import re
from pathlib import Path

import pytest

from imuproc.agreement.study import StudyResult, compare_study
from imuproc.readers.study import read_study
from imuproc.report.agreement.brief import write_brief
from imuproc.report.agreement.quantities import format_coefficient, format_share, quantity_of
from imuproc.report.agreement.wording import get_whole, write_paragraphs
from tests.report.agreement.made_study import (
    FRAMES,
    contacts,
    results,
    study,
    whole_study,
    write_reference,
)


@pytest.fixture(scope="module")
def several(tmp_path_factory: pytest.TempPathFactory) -> StudyResult:
    return compare_study(read_study(whole_study(tmp_path_factory.mktemp("several"))))


def test_methods_name_what_was_used_and_every_number_is_from_the_data(several: StudyResult) -> None:
    text = write_paragraphs(several)
    assert "force plates (1000 per second, contact above 20 N)" in text.methods
    assert "in 3 athletes, 5 runs and 80 paired steps" in text.methods
    assert "from an instant that both methods recorded" in text.methods
    assert "median 1.0 ms" in text.methods
    assert several.agreement is not None
    row = get_whole(several.agreement, "contact_time_s")
    assert row is not None
    q = quantity_of("contact_time_s")
    assert f"bias {q.format_number(row['bias'])}," in text.results
    assert f"to {q.with_unit(row['upper'])} (" in text.results
    assert "n = 80 steps" in text.results


def test_sources_are_those_cited_and_numbered_as_they_come(several: StudyResult) -> None:
    text = write_paragraphs(several)
    cited = [int(n) for part in re.findall(r"\[([\d, ]+)\]", text.methods) for n in part.split(",")]
    assert list(dict.fromkeys(cited)) == list(range(1, len(text.sources) + 1))
    assert not any("1999;8" in source for source in text.sources) or "slope" in text.methods
    assert "With 3 athletes the spread between athletes is poorly known" in " ".join(text.cautions)
    assert "The reference has errors of its own" in text.as_text()


def test_one_athlete_beside_a_camera_is_told_as_such(tmp_path: Path) -> None:
    steps = results(tmp_path)["R07-01"]
    write_reference(tmp_path, "R07-01", contacts(steps), 240.0)
    result = compare_study(read_study(study(tmp_path, ("R07-01",), FRAMES)))
    text = write_paragraphs(result)
    assert "video (240 per second)" in text.methods
    assert "independent pairs" in text.methods
    assert not any("J Biopharm Stat" in source for source in text.sources)
    assert "All steps are of one athlete" in text.cautions[0]
    assert any(
        "shorter than by video; 19 of 20 steps" in sentence for sentence in write_brief(result)
    )


def test_nothing_compared_is_no_paragraph(tmp_path: Path) -> None:
    results(tmp_path)
    result = compare_study(read_study(study(tmp_path, ("R07-01",))))
    assert write_brief(result) == ["No run could be compared."]
    with pytest.raises(ValueError, match="no run was compared"):
        write_paragraphs(result)


def test_numbers_claim_no_more_than_they_hold() -> None:
    assert format_coefficient(0.99999) == "> 0.999"
    assert format_coefficient(1.0) == "1.000"
    assert format_coefficient(float("nan")) == "-"
    assert format_share(0.984) == "98.4 %"
    assert quantity_of("shin_angle_touchdown_deg").name == "shin angle at touchdown"
    assert quantity_of("contact_time_s").with_unit(-0.0042) == "−4.2 ms"
    assert quantity_of("step_length_m").with_unit(0.012) == "1.2 cm"
