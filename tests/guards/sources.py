"""The package's source files as syntax trees, for the guards."""

import ast
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

REPO = Path(__file__).resolve().parents[2]
PACKAGE = REPO / "imuproc"

Function = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(frozen=True)
class Source:
    """One module of the package."""

    path: Path
    name: str
    text: str
    tree: ast.Module

    @property
    def is_package(self) -> bool:
        """Whether it is an ``__init__`` file."""
        return self.path.name == "__init__.py"

    def where(self, node: ast.AST) -> str:
        """File and line of a node."""
        return f"{self.path.relative_to(REPO)}:{getattr(node, 'lineno', 1)}"


@cache
def list_sources() -> tuple[Source, ...]:
    """Every module of the package."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(REPO).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        text = path.read_text(encoding="utf-8")
        found.append(Source(path, name, text, ast.parse(text)))
    return tuple(found)


def list_functions(source: Source) -> Iterator[Function]:
    """Every function and method of a module."""
    for node in ast.walk(source.tree):
        if isinstance(node, Function):
            yield node


def is_public(node: ast.AST) -> bool:
    """Whether a function or class is for others: no leading underscore."""
    name: str = getattr(node, "name", "_")
    return not name.startswith("_")


def list_tracked_files() -> list[Path]:
    """Files that belong to the project: those git tracks, or all but dotted where git is absent."""
    try:
        listing = subprocess.run(
            ["git", "ls-files", "-z"], cwd=REPO, capture_output=True, text=True, check=True
        ).stdout
        return [REPO / name for name in listing.split("\0") if name and (REPO / name).is_file()]
    except (OSError, subprocess.CalledProcessError):
        return [path for path in REPO.rglob("*") if path.is_file() and not _is_aside(path)]


def _is_aside(path: Path) -> bool:
    """Whether a file was made by a tool."""
    made = {"build", "dist", "out", "imuproc.egg-info", "__pycache__"}
    parts = path.relative_to(REPO).parts
    return any(part in made or part.startswith(".") for part in parts)
