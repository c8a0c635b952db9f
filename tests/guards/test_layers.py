"""Who may import whom. The list here is the rule; DEVELOPERS.md explains it."""

import ast
import re
import sys
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter

import pytest

from tests.guards.sources import PACKAGE, Source, list_sources

LAYERS = {
    "core": 0,
    "dsp": 1,
    "files": 1,
    "readers": 2,
    "synth": 2,
    "conditioning": 3,
    "events": 4,
    "motion": 5,
    "estimators": 6,
    "pipeline": 7,
    "results": 8,
    "agreement": 9,
    "assessment": 9,
    "checks": 9,
    "convert": 9,
    "plots": 9,
    "planning": 10,
    "report": 11,
    "batch": 12,
    "cli": 13,
}
STAGES = range(2, 7)  # know nothing of each other: only the pipeline knows the order

# What core may import besides the standard library (pandas only for type checking).
CORE_ALLOWS = {"numpy"}
CORE_ALLOWS_IN = {"imuproc.files.workers": {"joblib"}}


def find_folder(module: str) -> str | None:
    """Folder of a module of ours; None for the package itself and its ``__main__``."""
    parts = module.split(".")
    return parts[1] if len(parts) > 1 and parts[1] in LAYERS else None


def list_imports(source: Source, type_checking: bool = True) -> Iterator[tuple[str, ast.AST]]:
    """Names that a module imports anywhere in it, functions included; relative ones resolved."""
    skipped: set[ast.AST] = set()
    if not type_checking:
        for node in ast.walk(source.tree):
            if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
                skipped.update(inner for part in node.body for inner in ast.walk(part))
    for node in ast.walk(source.tree):
        if node in skipped:
            continue
        if isinstance(node, ast.Import):
            yield from ((alias.name, node) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                package = source.name.split(".")
                keep = len(package) - node.level + (1 if source.is_package else 0)
                base = ".".join([*package[:keep], *filter(None, [base])])
            yield from ((f"{base}.{alias.name}", node) for alias in node.names)


def find_module(name: str) -> str | None:
    """Module of ours that a dotted name lies in."""
    known = {source.name for source in list_sources()}
    parts = name.split(".")
    for length in range(len(parts), 0, -1):
        if ".".join(parts[:length]) in known:
            return ".".join(parts[:length])
    return None


def is_allowed(importer: str, other: str) -> bool:
    """Whether a module of one folder may import one of another."""
    if importer == other:
        return True
    if LAYERS[importer] in STAGES:
        return LAYERS[other] < STAGES.start
    return LAYERS[other] < LAYERS[importer]


def test_every_folder_has_its_layer() -> None:
    folders = {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").is_file()}
    assert folders <= set(LAYERS)
    strays = {path.name for path in PACKAGE.glob("*.py")}
    assert strays == {"__init__.py", "__main__.py"}


def is_import_allowed(importer: str, name: str) -> bool:
    """Whether a module of a folder may import a dotted name."""
    module = find_module(name)
    if module is None:
        return True
    other = find_folder(module)
    if other is None:  # the package's own lazy names reach upwards; its version is harmless
        return name == "imuproc.__version__"
    return is_allowed(importer, other)


def test_a_file_imports_only_from_lower_layers_and_its_own_folder() -> None:
    wrong = [
        f"{source.where(node)} imports {name}"
        for source in list_sources()
        if (importer := find_folder(source.name))
        for name, node in list_imports(source)
        if not is_import_allowed(importer, name)
    ]
    assert wrong == []


@pytest.mark.parametrize(
    ("importer", "name", "verdict"),
    [
        ("estimators", "imuproc.core.columns.FIGURES", True),
        ("estimators", "imuproc.dsp.filters", True),
        ("estimators", "imuproc.events.runs", False),
        ("synth", "imuproc.readers.session", False),
        ("pipeline", "imuproc.events.runs", True),
        ("core", "imuproc.dsp.filters", False),
        ("report", "imuproc.batch.work", False),
        ("report", "imuproc.process", False),
        ("cli", "imuproc.__version__", True),
        ("core", "numpy.typing", True),
    ],
)
def test_the_rule_says_what_the_design_says(importer: str, name: str, verdict: bool) -> None:
    assert is_import_allowed(importer, name) is verdict


def test_the_package_itself_imports_nothing_of_its_own_when_loaded() -> None:
    root = next(source for source in list_sources() if source.name == "imuproc")
    ours = [
        name for name, _ in list_imports(root, type_checking=False) if name.startswith("imuproc")
    ]
    assert ours == []


def test_core_needs_only_numpy() -> None:
    wrong = [
        f"{source.where(node)} imports {name}"
        for source in list_sources()
        if find_folder(source.name) == "core"
        for name, node in list_imports(source, type_checking=False)
        if name.split(".")[0] not in {*sys.stdlib_module_names, *CORE_ALLOWS, "imuproc"}
    ]
    assert wrong == []


def test_no_import_cycles_not_even_inside_functions() -> None:
    graph = {
        source.name: {
            module
            for name, _ in list_imports(source, type_checking=False)
            if (module := find_module(name)) and module != source.name
        }
        for source in list_sources()
    }
    # The package's __init__ loads with every module but imports none, so it is no part of a cycle.
    try:
        tuple(TopologicalSorter(graph).static_order())
    except CycleError as error:
        pytest.fail(f"import cycle: {' -> '.join(error.args[1])}")


def test_the_first_page_of_every_folder_names_all_that_lies_in_it() -> None:
    for page in (
        source for source in list_sources() if source.is_package and source.name != "imuproc"
    ):
        inside = {
            other.name.removeprefix(f"{page.name}.").split(".")[0]
            for other in list_sources()
            if other.name.startswith(f"{page.name}.")
        }
        told = ast.get_docstring(page.tree) or ""
        missing = inside - set(re.findall(r"^- ``(\w+)/?``:", told, flags=re.MULTILINE))
        assert missing == set(), page.name


def test_no_folder_holds_more_than_twenty_modules() -> None:
    counts: dict[str, int] = {}
    for source in list_sources():
        if not source.is_package:
            room = source.name.rpartition(".")[0]
            counts[room] = counts.get(room, 0) + 1
    assert {room: count for room, count in counts.items() if count > 20} == {}
