"""README and DEVELOPERS keep up with the code: options, keys, error kinds, modules, cautions, commands."""

from __future__ import annotations

import argparse
import ast
import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from invented_readings import failed, reading

from vision import cli
from vision.commands.libraries import APT_LINE
from vision.report import words
from vision.report.document import document, text

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
FLAT_README = " ".join(README.split())


def options(parser: argparse.ArgumentParser) -> Iterator[str]:
    """Every long option of a parser and of the commands below it."""
    for action in parser._actions:
        yield from (name for name in action.option_strings if name.startswith("--"))
        if isinstance(action, argparse._SubParsersAction):
            for below in action.choices.values():
                yield from options(below)


def commands(parser: argparse.ArgumentParser) -> Iterator[str]:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, below in action.choices.items():
                yield name
                yield from (f"{name} {deeper}" for deeper in commands(below))


def keys(part: object) -> Iterator[str]:
    """Every key of a document that the format fixes; names that are data (families, sizes, kinds) are left out."""
    if isinstance(part, dict):
        for key, value in part.items():
            yield key
            if key not in {"others", "smallest_visible", "uncertainty_parts", "uncertainty_correlations"}:
                yield from keys(value)
    elif isinstance(part, list):
        for one in part:
            yield from keys(one)


def error_kinds() -> set[str]:
    """Every kind that the code raises or records, read from the source."""
    found = {"internal"}
    for path in (ROOT / "vision").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.args):
                continue
            if node.func.id == "PhotoError":
                kind = node.args[0]
                assert isinstance(kind, ast.Constant), f"{path.name}: a kind is a fixed word"
                found.add(str(kind.value))
            elif node.func.id == "PhotoReading" and isinstance(node.args[1], ast.Tuple):
                kind = node.args[1].elts[0]
                found |= {str(kind.value)} if isinstance(kind, ast.Constant) else set()  # else it passes one on
    return found


@pytest.mark.parametrize("option", sorted(set(options(cli.parser()))))
def test_every_option_is_in_the_readme(option: str) -> None:
    assert re.search(rf"{option}\b(?!-)", README)


@pytest.mark.parametrize("command", sorted(set(commands(cli.parser()))))
def test_every_command_is_in_the_readme(command: str) -> None:
    assert re.search(rf"flutegauge {command}\b", README)


@pytest.mark.parametrize("key", sorted(set(keys(json.loads(text(document([reading(), failed()])))))))
def test_every_json_key_is_in_developers(key: str) -> None:
    assert f"`{key}`" in DEVELOPERS


def test_error_kinds_are_those_of_the_code() -> None:
    table = DEVELOPERS.partition("## Error kinds")[2].partition("\n## ")[0]
    listed = set(re.findall(r"^\| `([a-z-]+)` \|", table, re.MULTILINE))

    assert listed == error_kinds()


def test_every_module_of_vision_is_on_the_map() -> None:
    mapped = set(re.findall(r"`(\w+)`", DEVELOPERS))
    modules = {path.stem for path in (ROOT / "vision").rglob("*.py")} - {"__init__"}

    assert modules - mapped - {"pipeline"} == set()
    assert "`vision/pipeline.py`" in DEVELOPERS


def test_exit_statuses_are_in_the_readme() -> None:
    for status in (cli.FINE, cli.FAILED, cli.PHOTO_FAILED, cli.WRONG_USAGE, cli.INTERRUPTED):
        assert re.search(rf"^\| {status} \|", README, re.MULTILINE)


def test_the_line_for_system_libraries_is_in_the_readme() -> None:
    assert f"\n{APT_LINE}\n" in README
    assert APT_LINE in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "words_needed",
    [
        "after cleaning and drying and before sterilising",
        "no longer sterile and goes through the cycle again",
        "forceps",
        "eye protection",
        "single-use",
        "matt-laminated and wiped between batches",
        "local rules on single use and reprocessing",
        "instrument's own instructions",
        "Licensed practice decides",
        "The tool finds reasons to discard",
        "A photo cannot clear an instrument",
        "Nickel-titanium can part with no visible sign",
        "Broach sizes come from a table nobody here has read",
    ],
)
def test_the_readme_has_the_cautions_in_full(words_needed: str) -> None:
    assert words_needed in FLAT_README.partition("## Cautions")[2].replace("**", "")


def test_the_two_commands_work_on_what_is_there() -> None:
    first, second = re.findall(r"^python3 -m venv .*$", README, re.MULTILINE)
    photo = re.search(r"flutegauge measure (\S+)", first)
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]

    assert photo is not None
    assert (ROOT / photo.group(1)).is_file()
    assert "pip install ." in first
    assert second.endswith("pip install '.[test]' && .venv/bin/python -m pytest")
    assert "test" in extras


def test_the_pictures_and_files_named_exist() -> None:
    for place in [*re.findall(r"\]\(([^)h#][^)]*)\)", README), "calib/README.md", "LICENSE"]:
        assert (ROOT / place).is_file(), place


def test_every_link_within_the_readme_leads_to_a_heading() -> None:
    headings = re.findall(r"^#+ (.+)$", README, re.MULTILINE)
    anchors = {re.sub(r"[^a-z0-9 -]", "", heading.lower()).replace(" ", "-") for heading in headings}
    links = re.findall(r"\]\(#([^)]+)\)", README)

    assert links
    assert set(links) - anchors == set()


def test_strength_units_are_told_for_every_kind_of_finding() -> None:
    """The kinds of finding that the format fixes."""
    assert set(words.STRENGTH_UNITS) == {
        "unwound", "overwound", "reverse-wound", "stretched", "kinked", "tip-lost", "crest-chipped", "barbs-folded",
        "barbs-missing", "worn", "stained", "corroded",
    }  # fmt: skip
