"""Size budgets: of files, functions, their parameters, and public methods of classes."""

import ast

from tests.guards.sources import Function, is_public, list_functions, list_sources

FILE_LINES = 400
FUNCTION_LINES = 40
PARAMETERS = 8
PUBLIC_METHODS = 12


def count_lines(node: Function) -> int:
    """Lines of a function from ``def`` to its end, its docstring left out."""
    length = (node.end_lineno or node.lineno) - node.lineno + 1
    first = node.body[0]
    if ast.get_docstring(node, clean=False) is not None:
        length -= (first.end_lineno or first.lineno) - first.lineno + 1
    return length


def count_parameters(node: Function) -> int:
    """Number of parameters, ``self`` and ``cls`` left out."""
    a = node.args
    named = [arg.arg for arg in (*a.posonlyargs, *a.args, *a.kwonlyargs)]
    starred = [arg for arg in (a.vararg, a.kwarg) if arg]
    return len([name for name in named if name not in ("self", "cls")]) + len(starred)


def test_files_are_short() -> None:
    long = [s.where(s.tree) for s in list_sources() if len(s.text.splitlines()) > FILE_LINES]
    assert long == []


def test_functions_are_short() -> None:
    long = [
        f"{source.where(node)} {node.name}: {count_lines(node)} lines"
        for source in list_sources()
        for node in list_functions(source)
        if count_lines(node) > FUNCTION_LINES
    ]
    assert long == []


def test_functions_have_few_parameters() -> None:
    many = [
        f"{source.where(node)} {node.name}: {count_parameters(node)}"
        for source in list_sources()
        for node in list_functions(source)
        if count_parameters(node) > PARAMETERS
    ]
    assert many == []


def test_classes_have_few_public_methods() -> None:
    many = [
        f"{source.where(node)} {node.name}"
        for source in list_sources()
        for node in ast.walk(source.tree)
        if isinstance(node, ast.ClassDef)
        and sum(isinstance(part, Function) and is_public(part) for part in node.body)
        > PUBLIC_METHODS
    ]
    assert many == []


def test_the_measure_counts_as_it_says() -> None:
    tree = ast.parse('def f(a, *, b):\n    """One\n\n    Two"""\n    return (\n        a)\n')
    node = tree.body[0]
    assert isinstance(node, Function)
    assert count_lines(node) == 3
    assert count_parameters(node) == 2
