"""Where browser tests are required, a missing browser fails; elsewhere it skips."""

import pytest

from tests.browser.required import SWITCH, missing


def test_a_missing_browser_fails_only_where_it_is_required(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv(SWITCH, "require")
    with pytest.raises(pytest.fail.Exception, match="require, but there is none"):
        missing("there is none")
    monkeypatch.delenv(SWITCH)
    with pytest.raises(pytest.skip.Exception, match="there is none"):
        missing("there is none")
