"""Labels: every figure can be shown, and an uncertainty is never rounded to nothing."""

import math

import pytest

from imuproc.core.columns import FIGURES
from imuproc.report.pages.labels import LABELS, label_of


@pytest.mark.parametrize("figure", FIGURES)
def test_every_figure_has_a_label(figure: str) -> None:
    label = label_of(figure)
    assert label.name
    assert label.format_number(math.nan) == "-"
    assert "_" not in label.name


def test_values_are_shown_in_the_unit_that_coaches_use() -> None:
    assert LABELS["contact_time_s"].with_unit(0.1236) == "124 ms"
    assert LABELS["shin_angle_touchdown_deg"].with_unit(45.4) == "45°"
    assert LABELS["ankle_ahead_of_knee_m"].with_unit(-0.183) == "-18 cm"
    assert LABELS["contact_time_s"].format_uncertainty(0.0001) == "1"
    assert LABELS["contact_time_s"].format_uncertainty(math.nan) == ""
