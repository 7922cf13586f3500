"""Tray study: fresh tray renders, read and compared. Run as ``python -m tests.study.trays OUT --seed 15000 --count 60 --jobs 2``.

What was rendered and read is kept in OUT and not made again, so that a broken run goes on where it stopped. Reported seeds
start at 15000.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from typing import Any

from tests.study.as_projected import SHOWS_DEG, kink_as_projected_deg, shows
from tests.study.tray_match import match, touching
from tests.study.tray_photos import arguments, total_of
from tests.study.tray_scenes import tray_scene
from vision.tray.looked import TrayPhoto

FOUR = ("k-file", "reamer", "hedstroem-file", "barbed-broach")


def main() -> None:
    """Render, read, count, print."""
    total = total_of(arguments("trays", __doc__, seed=15000, count=60).parse_args(), tray_scene, counted)
    print("\n".join(figures(total)))


def counted(_seed: int, truth: dict[str, Any], tray: TrayPhoto) -> Counter[str]:
    """What was right, wrong and open on one tray, as a person sorting it is told."""
    reading = tray.reading
    instruments, scale = truth["instruments"], truth["camera"]["px_per_mm"]
    pairs, given = touching(instruments, scale), match(instruments, reading.instruments, scale)
    count = Counter(true=len(instruments), found=len(given), false=len(reading.instruments) - len(given), pairs=len(pairs))
    count["separated"] = sum(i in given and j in given for i, j in pairs)
    for i, j in given.items():
        true, seen = instruments[i], reading.instruments[j]
        if true["family"] not in FOUR:
            continue
        hurt, called = bool(true["damage"]), tray.told[j].kind == "damaged"
        count["families"] += 1
        count["family answered"] += seen.family.value is not None
        count["family right"] += seen.family.value == true["family"]
        count["sizes"] += 1
        count["size answered"] += seen.size.value is not None
        count["size right"] += seen.size.value == true["size"]
        count["hurt"] += hurt
        count["hurt found"] += hurt and called
        count["hurt shown"] += hurt and (called or tray.told[j].in_doubt)
        for kind in _kinds(true):
            count[kind] += 1
            count[f"{kind} found"] += called
        count["whole"] += not hurt
        count["whole called hurt"] += called and not hurt
    return count


def _kinds(true: Mapping[str, Any]) -> list[str]:
    """Under which heads the damage of a true instrument is counted; none for a whole one."""
    kinds = [str(damage["kind"]) for damage in true["damage"]]
    if "kinked" in kinds:
        kinds.append("kinked as projected" if (kink_as_projected_deg(true) or 0.0) >= SHOWS_DEG else "kinked along the view")
    return kinds + ["damage that shows"] * shows(true)


def figures(total: Counter[str]) -> list[str]:
    """Shares with Wilson's 95 % interval."""
    rows = (
        ("recall", "found", "true"), ("false finds over instruments", "false", "true"), ("touching pairs separated", "separated", "pairs"),
        ("family right", "family right", "families"), ("family right of answers", "family right", "family answered"),
        ("family answered", "family answered", "families"), ("size right of answers", "size right", "size answered"),
        ("size answered", "size answered", "sizes"), ("gross damage found", "hurt found", "hurt"),
        ("gross damage found or in doubt", "hurt shown", "hurt"),
        ("gross damage that shows, found", "damage that shows found", "damage that shows"),
        *((f"  of it {name}", f"{kind} found", kind) for name, kind in (
            ("lost tips", "tip-lost"), ("straightened parts", "unwound"), (f"kinks of {SHOWS_DEG:.0f} deg as planted", "kinked"),
            (f"kinks of {SHOWS_DEG:.0f} deg as projected", "kinked as projected"), ("kinks along the view", "kinked along the view"))),
        ("whole ones called damaged", "whole called hurt", "whole"),
    )  # fmt: skip
    mean = total["seconds"] / max(total["photos"], 1)
    spent = f"{total['photos']} trays, {mean:.0f} s of processor time each"
    shares = (f"{name:34s} {total[a]:4d} of {total[b]:4d}  {share_text(total[a], total[b])}" for name, a, b in rows)
    return [spent, *shares]


def share_text(part: int, whole: int) -> str:
    """A share in percent with Wilson's 95 % interval."""
    if whole == 0:
        return "no case"
    z, share = 1.96, part / whole
    middle = (share + z * z / (2 * whole)) / (1 + z * z / whole)
    half = z / (1 + z * z / whole) * math.sqrt(max(share * (1 - share), 0.0) / whole + z * z / (4 * whole * whole))
    return f"{100 * share:.1f} % ({100 * (middle - half):.1f} to {100 * min(middle + half, 1.0):.1f})"


if __name__ == "__main__":
    main()
