import pytest

from imuproc.core.errors import ArchiveError, ImuprocError, LogError, RunError, SessionError


@pytest.mark.parametrize("kind", [SessionError, LogError, RunError, ArchiveError])
def test_one_word_catches_all_that_is_raised_on_purpose(kind: type[ImuprocError]) -> None:
    with pytest.raises(ImuprocError, match="what, where"):
        raise kind("what, where, what to do")


def test_a_bad_run_is_not_a_bad_request() -> None:
    assert not issubclass(RunError, SessionError)
    assert not issubclass(LogError, SessionError)
