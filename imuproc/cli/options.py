"""Options of a command as a frozen dataclass: one parameter, however many options there are."""

import inspect
from collections.abc import Callable
from dataclasses import MISSING, fields
from typing import Any, TypeVar, get_type_hints

Options = TypeVar("Options")


def make_command(command: Callable[[Options], None], options: type[Options]) -> Callable[..., None]:
    """A function that typer can call: its parameters are the fields of a dataclass.

    Parameters
    ----------
    command : callable
        Takes an instance of ``options``; its docstring is the help text.
    options : type
        Dataclass whose fields are annotated as typer wants it.

    Returns
    -------
    callable
    """
    hints = get_type_hints(options, include_extras=True)
    keyword = inspect.Parameter.POSITIONAL_OR_KEYWORD
    parameters = [
        inspect.Parameter(name, keyword, default=default, annotation=hints[name])
        for name, default in _list_defaults(options)
    ]

    def _run_command(**given: Any) -> None:
        command(options(**given))

    _run_command.__doc__, _run_command.__name__ = command.__doc__, command.__name__
    _run_command.__annotations__ = hints
    _run_command.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    return _run_command


def _list_defaults(options: Any) -> list[tuple[str, Any]]:
    empty = inspect.Parameter.empty
    return [(f.name, empty if f.default is MISSING else f.default) for f in fields(options)]
