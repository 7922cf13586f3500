"""The live coach on rendered frames: how often it takes a good one, and a spoilt one. `python -m tests.study.live FOLDER`.

    python -m tests.study.live frames --count 40 --seed 21000

Good frames are rendered into FOLDER (some 10 s each) and kept there, so the same command again goes on; each is spoilt in ten ways
(`live_frames.SPOILED`) by amounts that its seed draws. A frame that shows no working part at 40 px/mm counts as too coarse. Seeds
below 5000 are for development; 21000 on are reported.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.study.intervals import wilson
from tests.study.live_frames import SPOILED, good_frame
from vision.live.guide import Run, watch
from vision.live.look import frame_of, look_at

GOOD = "good"
FRAMES_SHOWN = 5  # of one film that holds still


@dataclass(frozen=True)
class Shown:
    """One film of a still frame: what it was, whether a photo was taken, what spoke against it, CPU time of a look."""

    seed: int
    kind: str
    fired: bool
    against: tuple[str, ...]
    cpu_ms: float


def shown(seed: int, kind: str, frame: NDArray[np.uint8]) -> Shown:
    """Show one still frame to the coach, as JPEG, as often as it needs to make up its mind."""
    data = jpeg(frame)
    known = look_at(frame_of(data)).sheet  # from the frame before, as in a film
    began = time.process_time()
    look = look_at(frame_of(data), known=known)
    spent = 1000.0 * (time.process_time() - began)
    run, fired = Run("one"), False
    for _ in range(FRAMES_SHOWN):
        run, advice = watch(run, look)
        fired |= advice.shoot
    return Shown(seed, kind, fired, tuple(f"{one.name} {one.how}" for one in advice.checks if one.state != "right"), spent)


def jpeg(frame: NDArray[np.uint8], quality: int = 85) -> bytes:
    """A frame as the page sends it."""
    return bytes(cv2.imencode(".jpg", cv2.cvtColor(frame, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, quality])[1])


def films(seed: int, folder: Path) -> list[Shown]:
    """The good frame of a seed and everything it was spoilt to."""
    path = folder / f"{seed}.png"
    if not path.is_file():
        cv2.imwrite(str(path), cv2.cvtColor(good_frame(seed), cv2.COLOR_RGB2BGR))
    frame = np.asarray(cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB), dtype=np.uint8)
    made = [shown(seed, GOOD, frame)]
    look = look_at(frame_of(jpeg(frame)))
    if len(look.axis_px) < 2:
        return made  # nothing to spoil around
    for number, (kind, spoil) in enumerate(SPOILED.items()):
        made.append(shown(seed, kind, spoil(np.random.default_rng([seed, number]), frame, look)))
    return made


def figures(rows: Sequence[Shown]) -> list[str]:
    """One line a kind: how often a photo was taken, with the 95 % interval of a share."""
    lines = []
    for kind in dict.fromkeys(row.kind for row in rows):
        of = [row for row in rows if row.kind == kind]
        fired = sum(row.fired for row in of)
        low, high = wilson(fired, len(of))
        lines.append(f"{kind:17s} taken {fired:3d} of {len(of):3d} (95 %: {100 * low:.0f} to {100 * high:.0f} %)")
    spent = sorted(row.cpu_ms for row in rows)
    most = spent[int(0.95 * len(spent))]
    lines.append(f"one look: median {statistics.median(spent):.0f} ms of CPU, 95 % below {most:.0f} ms, n = {len(spent)}")
    return lines


def main(argv: Sequence[str] | None = None) -> int:
    """Run the study; returns the exit status."""
    about = "How often the live coach takes good and spoilt frames."
    parser = argparse.ArgumentParser(prog="python -m tests.study.live", description=about)
    parser.add_argument("folder", type=Path, help="where the good frames lie, or are rendered to")
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int, default=21000)
    arguments = parser.parse_args(argv)
    arguments.folder.mkdir(parents=True, exist_ok=True)
    cv2.setNumThreads(1)
    rows: list[Shown] = []
    for seed in range(arguments.seed, arguments.seed + arguments.count):
        rows += films(seed, arguments.folder)
        for row in rows[-1 - len(SPOILED) :]:
            if row.seed == seed and row.fired != (row.kind == GOOD):
                print(f"{seed} {row.kind}: {'taken' if row.fired else '; '.join(row.against)}", flush=True)
    print("\n".join(figures(rows)))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
