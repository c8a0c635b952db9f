import numpy as np
import pytest

from imuproc.agreement.statistics.change import (
    smallest_detectable_change,
    smallest_worthwhile_change,
    typical_error,
)
from tests.validation.published import MINI_1, MINI_2, WRIGHT_1, WRIGHT_2


def test_typical_error_of_both_meters() -> None:
    # Hopkins 2000, Sports Med 30:1, on the table of Bland & Altman 1986; computed.
    assert typical_error(WRIGHT_1 - WRIGHT_2) == pytest.approx(15.3612, abs=5e-5)
    assert typical_error(MINI_1 - MINI_2) == pytest.approx(20.4158, abs=5e-5)


def test_smallest_detectable_change() -> None:
    # 1.96 √2 times the error: 5 gives 13.859293 (check value of public test code).
    assert smallest_detectable_change(5.0) == pytest.approx(13.859293, abs=5e-7)


def test_smallest_worthwhile_change_takes_error_out_first() -> None:
    means = [10.0, 12.0, 14.0]  # SD 2
    assert smallest_worthwhile_change(means, 0.0) == pytest.approx(0.4)
    assert smallest_worthwhile_change(means, np.sqrt(3.0)) == pytest.approx(0.2)
    assert np.isnan(smallest_worthwhile_change(means, 2.5))
    assert np.isnan(smallest_worthwhile_change(means[:2], 0.1))
    assert np.isnan(typical_error([1.0, 2.0]))
