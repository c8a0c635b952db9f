"""Habits that cost others dearly, kept out by test."""

import ast
from collections.abc import Iterator

from tests.guards.sources import Function, is_public, list_functions, list_sources

# The one place where any error of a run ends, so that the other runs go on.
BLIND_EXCEPT = ["imuproc.batch.work", "imuproc.checks.recording", "imuproc.checks.recording"]

RATES = {"rate_hz", "sampling_rate_hz", "sample_rate_hz", "fs", "fs_hz"}


def list_defaults(node: Function) -> Iterator[str]:
    """Names of the parameters that have a default."""
    a = node.args
    positional = [*a.posonlyargs, *a.args]
    yield from (arg.arg for arg in positional[len(positional) - len(a.defaults) :])
    yield from (
        arg.arg for arg, default in zip(a.kwonlyargs, a.kw_defaults, strict=True) if default
    )


def list_assumed_numbers(node: ast.AST) -> Iterator[str]:
    """Parameters of a function, or fields of a class, that have a number as default."""
    if isinstance(node, Function):
        yield from list_defaults(node)
    if isinstance(node, ast.ClassDef):
        for part in node.body:
            given = part.value if isinstance(part, ast.AnnAssign) else None
            if isinstance(given, ast.Constant) and isinstance(given.value, int | float):
                yield ast.unparse(part.target)


def is_blind(handler: ast.ExceptHandler) -> bool:
    """Whether a handler catches everything."""
    if handler.type is None:
        return True
    kinds = handler.type.elts if isinstance(handler.type, ast.Tuple) else [handler.type]
    return any(ast.unparse(kind) in ("Exception", "BaseException") for kind in kinds)


def test_no_assert_as_a_check() -> None:
    found = [
        source.where(node)
        for source in list_sources()
        for node in ast.walk(source.tree)
        if isinstance(node, ast.Assert)
    ]
    assert found == []


def test_no_blind_except() -> None:
    found = [
        source.name
        for source in list_sources()
        for node in ast.walk(source.tree)
        if isinstance(node, ast.ExceptHandler) and is_blind(node)
    ]
    assert found == BLIND_EXCEPT


def test_no_options_that_no_signature_shows() -> None:
    found = [
        source.where(node)
        for source in list_sources()
        for node in list_functions(source)
        if is_public(node) and node.args.kwarg
    ]
    assert found == []


def test_a_sampling_rate_is_never_assumed() -> None:
    found = [
        f"{source.where(node)} {name}"
        for source in list_sources()
        for node in ast.walk(source.tree)
        for name in list_assumed_numbers(node)
        if name in RATES
    ]
    assert found == []


def test_no_drawer_for_everything() -> None:
    names = {source.path.name for source in list_sources()}
    assert names.isdisjoint({"utils.py", "util.py", "helpers.py", "misc.py", "common.py"})


def test_the_guard_sees_what_it_forbids() -> None:
    tree = ast.parse("try:\n    pass\nexcept (ValueError, Exception):\n    pass\n")
    handler = next(node for node in ast.walk(tree) if isinstance(node, ast.ExceptHandler))
    assert is_blind(handler)
    function = ast.parse("def f(a, rate_hz=500.0, *, b, c=1): ...").body[0]
    assert isinstance(function, Function)
    assert list(list_assumed_numbers(function)) == ["rate_hz", "c"]
    fields = ast.parse("class S:\n    rate_hz: float = 500.0\n    other_hz: float\n").body[0]
    assert list(list_assumed_numbers(fields)) == ["rate_hz"]
