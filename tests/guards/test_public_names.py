"""The names that users build on."""

import pytest

import imuproc

PUBLIC = [
    "SessionOptions",
    "Settings",
    "__version__",
    "open_archive",
    "plots",
    "process",
    "process_session",
    "read_session",
    "read_study",
    "stages",
    "summarise",
]


def test_the_public_names_are_these() -> None:
    assert sorted(imuproc.__all__) == PUBLIC
    assert dir(imuproc) == PUBLIC


@pytest.mark.parametrize("name", PUBLIC)
def test_every_public_name_can_be_used(name: str) -> None:
    assert getattr(imuproc, name) is not None


def test_any_other_name_is_refused() -> None:
    with pytest.raises(AttributeError, match="has no attribute 'nonsense'"):
        _ = imuproc.nonsense  # type: ignore[attr-defined]
