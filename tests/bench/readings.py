"""Keeps all readings of some photos, or compares two such files: ``python -m tests.bench.readings OUT.json PHOTO...``,
``python -m tests.bench.readings --compare BEFORE.json AFTER.json``.

An optimisation must leave every quantity within a tenth of its own u, and every name, call and finding as it was.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

from vision.pipeline import read_photo
from vision.quantity import Quantity
from vision.reading import InstrumentReading

MOST_U = 0.1
NO_PRINTS = Path("no-print-checks.json")


def main() -> int:
    """Keep or compare; status 1 when something differs."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.readings", description=__doc__)
    parser.add_argument("--compare", action="store_true", help="compare two files kept before")
    parser.add_argument("out", type=Path)
    parser.add_argument("files", type=Path, nargs="+")
    asked = parser.parse_args()
    if asked.compare:
        return compare(json.loads(asked.out.read_text()), json.loads(asked.files[0].read_text()))
    asked.out.write_text(json.dumps({path.name: kept(path) for path in asked.files}, indent=1))
    return 0


def kept(path: Path) -> dict[str, Any]:
    """One photo's reading in full precision; a name with 'flat' in it was held level."""
    reading = read_photo(path, given=None, prints=NO_PRINTS, held="flat" in path.stem)
    print(f"{path.name}: {reading.error or len(reading.instruments)}", file=sys.stderr, flush=True)
    scale = None if reading.scale is None else [reading.scale.px_per_mm.value, reading.scale.px_per_mm.u]
    return {"error": reading.error, "px_per_mm": scale, "instruments": [_instrument(one) for one in reading.instruments]}


def _instrument(one: InstrumentReading) -> dict[str, Any]:
    quantities = {field.name: getattr(one, field.name) for field in fields(one)}
    words = {
        "family": one.family.value, "size": one.size.value, "section": one.cross_section, "colour": one.handle.colour,
        "conformity": dict(one.conformity), "call": one.condition.call,
        "findings": [finding.kind for finding in one.condition.findings],
    }  # fmt: skip
    return {
        "words": words,
        "chances": [one.family.probability, one.size.probability],
        "notes": list(one.notes),
        "tip_px": one.tip_px,
        "quantities": {name: [q.value, q.u] for name, q in quantities.items() if isinstance(q, Quantity)},
    }


def compare(before: dict[str, Any], after: dict[str, Any]) -> int:
    """Print what differs and the greatest differences in u; return 1 when anything passes the limits."""
    wrong: list[str] = []
    worst: dict[str, tuple[float, str]] = {}
    for name, old in before.items():
        for what, by in differences(old, after.get(name)):
            if isinstance(by, float):
                worst[what] = max(worst.get(what, (0.0, "")), (by, name))
            if not isinstance(by, float) or by > MOST_U:
                wrong.append(f"{name}: {what}: {by if isinstance(by, str) else f'{by:.2f} u'}")
    for what, (by, name) in sorted(worst.items()):
        print(f"{what:24s} at most {by:6.3f} u  ({name})")
    print(*wrong, sep="\n")
    print(f"{len(before)} photos, {len(wrong)} differences")
    return 1 if wrong else 0


def differences(before: dict[str, Any], after: dict[str, Any] | None) -> Iterator[tuple[str, str | float]]:
    """Give each quantity's change in its u, and in words whatever else changed."""
    if after is None or before["error"] != after["error"]:
        yield "error", f"{before['error']} became {after and after['error']}"
        return
    if before["px_per_mm"] is not None:
        yield "px_per_mm", abs(before["px_per_mm"][0] - after["px_per_mm"][0]) / before["px_per_mm"][1]
    if len(before["instruments"]) != len(after["instruments"]):
        yield "instruments", f"{len(before['instruments'])} became {len(after['instruments'])}"
        return
    for old, new in zip(before["instruments"], after["instruments"], strict=True):
        for word in old["words"]:
            if old["words"][word] != new["words"][word]:
                yield word, f"{old['words'][word]} became {new['words'][word]}"
        if old["notes"] != new["notes"]:
            yield "notes", f"{sorted(set(old['notes']) ^ set(new['notes']))}"
        for name in {*old["quantities"], *new["quantities"]}:
            yield name, _apart(old["quantities"].get(name), new["quantities"].get(name))


def _apart(old: list[float] | None, new: list[float] | None) -> str | float:
    if old is None or new is None:
        return f"{old} became {new}"
    if abs(new[1] - old[1]) > MOST_U * old[1]:
        return f"u {old[1]:.4g} became {new[1]:.4g}"
    return abs(old[0] - new[0]) / old[1]


if __name__ == "__main__":
    raise SystemExit(main())
