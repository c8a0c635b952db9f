"""What the exit code of a command says."""

from typing import Final

ALL_DONE: Final = 0
SOME_FAILED: Final = 1
WRONG_REQUEST: Final = 2
INTERRUPTED: Final = 130
