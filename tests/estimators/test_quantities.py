import numpy as np

from imuproc.estimators.quantities import Quantity, make_missing


def test_parts_add_as_a_root_sum_of_squares() -> None:
    """JCGM 100:2008, 5.1."""
    figure = Quantity(np.array([1.0, 2.0]), {"a": np.array([3.0, 0.0]), "b": np.array([4.0, 1.0])})
    assert figure.uncertainty.tolist() == [5.0, 1.0]


def test_what_is_missing_has_no_uncertainty() -> None:
    figure = Quantity(np.array([np.nan, 1.0]), {"a": np.array([3.0, 3.0])})
    assert np.isnan(figure.uncertainty).tolist() == [True, False]
    nothing = make_missing(3)
    assert np.isnan(nothing.value).all()
    assert np.isnan(nothing.uncertainty).all()


def test_a_part_that_is_not_known_leaves_the_whole_unknown() -> None:
    figure = Quantity(np.array([1.0]), {"a": np.array([0.1]), "b": np.array([np.nan])})
    assert np.isnan(figure.uncertainty).all()
