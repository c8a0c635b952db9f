"""Everything public says what it is."""

import ast
from collections.abc import Iterator

from tests.guards.sources import Function, Source, is_public, list_sources


def list_without_docstring(source: Source) -> Iterator[str]:
    """Module, public classes, functions and methods that have none."""
    if source.tree.body and not ast.get_docstring(source.tree):
        yield source.where(source.tree)
    inside: list[ast.AST] = [source.tree]
    while inside:
        for node in ast.iter_child_nodes(inside.pop()):
            if not isinstance(node, ast.ClassDef | Function) or not is_public(node):
                continue
            if not ast.get_docstring(node):
                yield f"{source.where(node)} {node.name}"
            if isinstance(node, ast.ClassDef):
                inside.append(node)


def test_everything_public_has_a_docstring() -> None:
    assert [where for source in list_sources() for where in list_without_docstring(source)] == []
