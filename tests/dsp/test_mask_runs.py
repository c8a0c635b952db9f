import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from imuproc.dsp.mask_runs import find_mask_runs


@given(st.lists(st.booleans(), max_size=30))
def test_stretches_hold_all_that_is_true_and_nothing_else(values: list[bool]) -> None:
    mask = np.array(values, dtype=bool)
    first, after = find_mask_runs(mask)
    made = np.zeros(len(mask), dtype=bool)
    for a, b in zip(first, after, strict=True):
        made[a:b] = True
    np.testing.assert_array_equal(made, mask)
    assert (first < after).all()
    assert (first[1:] > after[:-1]).all()  # none touches the next
