"""Imports point one way: earlier stage to later, never back; measuring code and renderer share the sheet and no more.

A module of vision says its place at the start of its docstring ('Stage 5a: ...'); one without a stage is a leaf, which
imports no stage. The report knows readings and photos only, and the command line stands above everything.
"""

from __future__ import annotations

import ast
import re
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("vision", "calib", "samples", "models")
STAGES = 9
ABOVE = {
    "vision.fitness": STAGES - 1,  # asked between stages, by the pipeline alone
    "vision.instrument": STAGES - 1,  # stages 4 to 6 for one candidate
    "vision.judged": STAGES - 1,  # stages 6 to 8 for one candidate
    "vision.together": STAGES - 1,  # stages 6 to 8 for several photos of one instrument
    "vision.pipeline": STAGES - 0.5,
    "vision.live": STAGES + 0.5,  # judges a camera's frames; measures nothing that is reported
    "vision.tray": STAGES + 0.5,  # sorts and checks what was read
    "vision.teach": STAGES + 0.5,  # asks about rendered instruments; measures nothing
    "vision.records": STAGES + 0.5,  # keeps what the report says
    "vision.desk.worker": STAGES + 3,  # a program of its own, which speaks to the command line
    "vision.desk": STAGES + 1,
    "vision.commands": STAGES + 1,
    "vision.cli": STAGES + 2,
}
LEAVES = {"vision.budget", "vision.errors", "vision.quantity", "vision.reading"}


@cache
def modules() -> dict[str, Path]:
    """Every module of the packages by its dotted name."""
    found = {}
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


@cache
def parsed(name: str) -> ast.Module:
    return ast.parse(modules()[name].read_text(encoding="utf-8"))


@cache
def imports_of(name: str) -> frozenset[str]:
    """The modules of our own that a module imports, wherever in it the import stands."""
    found = set()
    for node in ast.walk(parsed(name)):
        if isinstance(node, ast.Import):
            wanted = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name}: relative import; imports are written in full"
            wanted = [node.module or "", *(f"{node.module}.{alias.name}" for alias in node.names)]
        else:
            continue
        found |= {one for one in wanted if one in modules()}
    return frozenset(found - {name})


def stage_of(name: str) -> float | None:
    """The stage of a module of vision; None for a leaf."""
    for above, stage in ABOVE.items():
        if name == above or name.startswith(f"{above}."):
            return stage
    if name.startswith("vision.report"):
        return STAGES
    stated = re.match(r"Stage (\d)\w?'? ?(of 9|entry)?\W", ast.get_docstring(parsed(name)) or "")
    return float(stated.group(1)) if stated else None


def in_vision() -> list[str]:
    return [name for name in modules() if name.startswith("vision.") and name != "vision"]


@pytest.mark.parametrize("name", in_vision())
def test_no_module_imports_a_later_stage(name: str) -> None:
    own = stage_of(name)
    later = {
        other: stage_of(other)
        for other in imports_of(name)
        if other.startswith("vision.") and (stage_of(other) or 0) > (own or 0)
    }

    assert later == {}, f"{name} is of stage {own or 'leaf'}"


def test_every_stage_is_there() -> None:
    stages = {stage for name in in_vision() if (stage := stage_of(name)) is not None}

    assert stages >= {float(stage) for stage in range(1, STAGES + 1)}


def test_the_leaves_import_nothing_but_leaves() -> None:
    for leaf in LEAVES:
        assert stage_of(leaf) is None
        assert {one for one in imports_of(leaf) if one != "vision"} <= LEAVES


def test_no_import_cycle() -> None:
    """The sorter raises CycleError and names the cycle. A package's own __init__ may gather from its modules."""
    graph = {name: imports_of(name) - {name.rpartition(".")[0]} for name in modules()}

    assert len(list(TopologicalSorter(graph).static_order())) == len(modules())


@pytest.mark.parametrize("name", [name for name in in_vision() if name.startswith("vision.report.")])
def test_the_report_knows_readings_and_photos_only(name: str) -> None:
    allowed = {"vision.photo", "vision.reading", "vision.quantity", "vision.budget"}
    foreign = {one for one in imports_of(name) if not one.startswith("vision.report")} - allowed

    assert foreign - {"vision"} == set()


@pytest.mark.parametrize(
    ("package", "strangers"),
    [("vision", ("samples",)), ("samples", ("vision", "models")), ("calib", ("vision", "samples", "models"))],
)
def test_packages_keep_apart(package: str, strangers: tuple[str, ...]) -> None:
    met = {
        (name, other)
        for name in modules()
        if name.split(".")[0] == package
        for other in imports_of(name)
        if other.split(".")[0] in strangers
    }

    assert met == set()


def test_edges_are_found_in_pixels() -> None:
    """Stage 5 takes no length in mm, so no nominal size can lead it; the local scale (px_per_mm) sets its windows."""
    named = []
    for name in in_vision():
        if stage_of(name) != 5:
            continue
        for node in ast.walk(parsed(name)):
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                words = [node.name, *(argument.arg for argument in (*node.args.args, *node.args.kwonlyargs))]
                named += [f"{name}.{node.name}: {word}" for word in words if re.search(r"(?<!per)_mm$", word)]

    assert named == []


def test_measuring_never_imports_the_nominal_tables() -> None:
    """Nominal sizes name and judge an instrument; they never enter a measured number (stages 1 to 6)."""
    guilty = [name for name in in_vision() if 1 <= (stage_of(name) or 0) <= 6 and "vision.nominal" in imports_of(name)]

    assert "vision.nominal" in modules()
    assert guilty == []


@pytest.mark.parametrize("name", sorted(modules()))
def test_modules_are_small_and_named_for_what_they_hold(name: str) -> None:
    lines = modules()[name].read_text(encoding="utf-8").count("\n")

    assert lines <= 400
    assert name.rpartition(".")[2] not in {"utils", "util", "helpers", "common", "core", "misc"}
