"""All text of the pages, from one catalogue file, so that a school can translate it.

A catalogue is a TOML file of sections with sentences; '{name}' is filled in. What a translation lacks is shown in English.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

from vision.errors import UsageError

Say = Callable[..., str]
ENGLISH = "english.toml"


def catalogue(path: Path | None = None) -> dict[str, str]:
    """Return every sentence under its dotted name, English where ``path`` has none. Raises UsageError."""
    own = _flat(tomllib.loads((files("vision.desk") / ENGLISH).read_text(encoding="utf-8")))
    if path is None:
        return own
    try:
        other = _flat(tomllib.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, RecursionError) as error:
        raise UsageError(
            f"--words {path} cannot be read as a catalogue ({error}): start from a copy of {ENGLISH}"
        ) from error
    strange = sorted(set(other) - set(own))
    if strange:
        raise UsageError(
            f"--words {path} has names that no page uses: {', '.join(strange[:5])}; take them from {ENGLISH}"
        )
    return own | other


def speaker(sentences: Mapping[str, str]) -> Say:
    """Return the function that pages call: a name and what is to be filled in -> the sentence. Raises KeyError."""

    def say(name: str, /, **filled: Any) -> str:
        return sentences[name].format(**filled) if filled else sentences[name]

    return say


def said_or(sentences: Mapping[str, str], name: str, otherwise: str) -> str:
    """Return a sentence, or other words where the catalogue has none, for instance for a word a later version added."""
    return sentences.get(name, otherwise)


def _flat(part: Mapping[str, Any], before: str = "") -> dict[str, str]:
    found: dict[str, str] = {}
    for name, value in part.items():
        if isinstance(value, Mapping):
            found |= _flat(value, f"{before}{name}.")
        else:
            found[before + name] = str(value)
    return found
