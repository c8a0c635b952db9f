"""Functions say what they do: they begin with a verb, and one word alone seldom tells enough."""

import ast
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from tests.guards.sources import PACKAGE

ONE_WORD_NAMES: Final = {
    "stages of the method, and what a command or the public interface is called": (
        "agree calibrate check compare condition convert detect estimate guide judge main process "
        "refine report settings simulate solve squad summarise"
    ),
    "mathematics": "cross differentiate integrate interpolate invert median norm skew unwrap",
    "verbs of data objects and of files": (
        "add close cut factor join print read readinto refuse row run save seek stream tabulate "
        "take thin truncate withhold write"
    ),
    "what is read piece by piece, or from an archive by its name": (
        "curve curves fingerprint motion pieces recordings signals value"
    ),
    "the protocol of files": "readable seekable writable",
    "words of declarations: settings are lists of numbers, spans and tables": "number span table",
    "local functions of one line, named by what they build or how they read": (
        "build handle quote read summarise finish"
    ),
}


def list_functions() -> Iterator[tuple[Path, ast.FunctionDef]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                yield path, node


def is_one_word(node: ast.FunctionDef) -> bool:
    properties = any("property" in ast.unparse(mark) for mark in node.decorator_list)
    return not (node.name.startswith("__") or properties or "_" in node.name.strip("_"))


def test_only_standard_words_stand_alone() -> None:
    known = {word for words in ONE_WORD_NAMES.values() for word in words.split()}
    alone = {(node.name, path) for path, node in list_functions() if is_one_word(node)}
    assert [f"{path.name}: {name}" for name, path in alone if name not in known] == []
    assert known - {name for name, _ in alone} == set()


def test_docstrings_can_be_read_by_themselves() -> None:
    found = [
        f"{path.name}: {node.name}"
        for path, node in list_functions()
        if (ast.get_docstring(node) or "").startswith("The same")
    ]
    assert found == []
