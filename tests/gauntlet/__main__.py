"""Runs the gauntlet: ``python -m tests.gauntlet OUT [--seed 9500] [--only words] [--part 1/2] [--json FILE]``."""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path

from tests.gauntlet.bases import Base, bases
from tests.gauntlet.cases import CASES, Case, Spoiled
from tests.gauntlet.judge import Outcome, outcome


def main() -> int:
    """Read every wrong photo and its twin; return 0 if all came out as they must."""
    parser = argparse.ArgumentParser(prog="python -m tests.gauntlet", description=__doc__)
    parser.add_argument("out", type=Path, help="folder for the rendered photos")
    parser.add_argument("--seed", type=int, default=9500, help="first seed of the rendered photos")
    parser.add_argument("--only", default="", help="cases whose name contains this")
    parser.add_argument("--part", default="1/1", help="every N-th case, '1/2' the first half")
    parser.add_argument("--kinds", default="hard,mild", help="hard, mild or both")
    asked = parser.parse_args()
    first, step = (int(number) for number in asked.part.split("/"))
    made = bases(asked.out, asked.seed)
    tally: dict[str, list[bool]] = {kind: [] for kind in asked.kinds.split(",")}
    for number in range(first - 1, len(CASES), step):
        if asked.only in CASES[number].name:
            for kind, passed in tally.items():
                passed.append(_run(CASES[number], made[number % len(made)], kind))
    for kind, passed in tally.items():
        print(f"{kind}: {sum(passed)} of {len(passed)} as they must be")
    return 0 if all(all(passed) for passed in tally.values()) else 1


def _run(case: Case, base: Base, kind: str) -> bool:
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        made = getattr(case, kind)(base)
        found = outcome(base, made if isinstance(made, Spoiled) else Spoiled(made), Path(folder))
    passed = as_it_must(case, found, kind)
    said = found.error or ("read" if found.read else "not sized")
    took = f"{time.monotonic() - began:.0f} s"
    print(f"{'ok  ' if passed else 'MISS'} {kind} {case.name} ({base.name}): {said} {'; '.join(found.wrong)} {took}")
    if not passed or kind == "hard":
        print(f"       {json.dumps(found.notes)[:600]}")
    sys.stdout.flush()
    return passed


def as_it_must(case: Case, found: Outcome, kind: str) -> bool:
    """A wrong photo is refused, or read without a confident error where that may be; a harmless one is read."""
    if kind == "mild":
        return found.read and not found.wrong
    if case.refused:
        return found.error in case.refused
    return not found.wrong


if __name__ == "__main__":
    sys.exit(main())
