"""All text stands in one catalogue: none in templates, none missing, none unused; a translation is taken and checked."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

import pytest

from vision.desk.wording import catalogue, speaker
from vision.errors import UsageError
from vision.reading import FAMILIES
from vision.records.history import DECISIONS, EVENTS
from vision.records.instruments import MATERIALS
from vision.report.words import MEASURED, STRENGTH_UNITS

DESK = Path(str(files("vision.desk")))
TEMPLATES = sorted((DESK / "templates").glob("*.html"))
# Words that would clear an instrument, wherever they might slip in.
CLEARING = r"\b(safe|approv\w*|cleared|passed|fit for|ready for use|may be used|can be used|all right|ok|okay|sound|healthy instrument)\b"


def asked_for() -> set[str]:
    """Names of sentences that templates and code ask for by a whole literal."""
    sources = [path.read_text(encoding="utf-8") for path in [*TEMPLATES, *DESK.glob("*.py")]]
    return {name for text in sources for name in re.findall(r"""(?:say\(|words\[)f?['"]([a-z_]+\.[\w-]+)['"][\]),]""", text)}


def test_every_sentence_asked_for_is_there() -> None:
    assert len(asked_for()) > 150
    assert asked_for() - set(catalogue()) == set()


def test_every_sentence_is_asked_for() -> None:
    sources = "".join(path.read_text(encoding="utf-8") for path in [*TEMPLATES, *DESK.glob("*.py")])
    built = set(re.findall(r"""['"]([a-z_]+\.[\w-]*)(?:['"] [~+]|\{)""", sources))  # 'layer_' ~ name, f"families.{name}"
    unused = {name for name in catalogue() if name not in sources and not name.startswith(tuple(built))}

    assert len(built) > 10
    assert unused == set()


def test_every_fixed_word_has_its_translation() -> None:
    known = set(catalogue())

    assert {f"families.{name}" for name in FAMILIES} <= known
    assert {f"findings.{name}" for name in STRENGTH_UNITS} <= known
    assert {f"words.{name}" for name, _, _ in MEASURED} <= known
    assert {f"materials.{name.replace(' ', '-')}" for name in MATERIALS} <= known
    assert {f"decision.{name.replace(' ', '_')}" for name in DECISIONS} <= known
    assert {f"instruments.{name}" for name in EVENTS} <= known
    assert {f"calls.{name}" for name in ("discard", "look-again", "nothing-seen")} <= known


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_templates_hold_no_words(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    text = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}|<style>.*?</style>", " ", text, flags=re.DOTALL)
    text = re.sub(r"<[^>]*>|/api/\S+", " ", text)
    units = {"mm", "px", "u", "tag"}

    assert set(re.findall(r"[^\W\d_]{2,}", text)) - units == set()


@pytest.mark.parametrize("name", sorted(catalogue()))
def test_no_sentence_clears_an_instrument(name: str) -> None:
    said = catalogue()[name]
    denied = re.sub(r"cannot clear|can not clear|never cleared", "", said)

    assert not re.search(CLEARING, denied, re.IGNORECASE), said


def test_a_translation_is_taken_and_falls_back_to_english(tmp_path: Path) -> None:
    other = tmp_path / "deutsch.toml"
    other.write_text('[site]\nlanguage = "de"\nread = "Lesen"\n', encoding="utf-8")

    words = catalogue(other)

    assert words["site.read"] == "Lesen"
    assert words["site.records"] == "Records"
    assert speaker(words)("words.size", size="25") == "size 25"


@pytest.mark.parametrize(("text", "said"), [("[site]\nreed = 'x'\n", "site.reed"), ("not toml", "cannot be read")])
def test_a_translation_with_mistakes_is_refused(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "x.toml").write_text(text, encoding="utf-8")

    with pytest.raises(UsageError, match=said):
        catalogue(tmp_path / "x.toml")
