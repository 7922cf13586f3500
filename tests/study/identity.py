"""What each kind of evidence adds to the names, how good their probabilities are, and the weights that fit them best.

``python -m tests.study.identity PHOTOS [--fit] [--keep FILE]`` reads every photo in PHOTOS that has its truth beside it
(NAME.jpg, NAME.json), pairs readings with truths by place, and prints the ablation: outline and figures only, network only,
both; colour only, metal only, both. ``--fit`` searches the weights of ``vision.identity`` for the least log-loss and prints
them as they stand in the code: use photos of development seeds (below 5000) only. ``--keep`` stores what was read, so that
a second run need not read again. ``--robust N`` reads N photos of one instrument each once more turned, dim, tinted, squeezed and soft.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
import pickle
import tempfile
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageFilter
from rich.console import Console
from rich.progress import track

from tests.study.intervals import wilson
from vision.clues import Extra
from vision.dimensions import Dimensions
from vision.handle import HandleColour
from vision.identity import Identity, Weights, identify
from vision.judged import given_of
from vision.named import Named
from vision.pipeline import read_photo
from vision.sizing import weigh_sizes
from vision.together import Looked

NO_PRINTS = Path("no-print-checks.json")
NEAR_MM = 3.0  # a reading belongs to the instrument whose tip and handle lie so near to its own
FOUR = ("k-file", "reamer", "hedstroem-file", "barbed-broach")
NO_COLOUR = HandleColour({}, None)
LEAST = 1e-3  # floor of a probability in the log-loss
GRID = (0.2, 0.35, 0.5, 0.7, 1.0)


@dataclass(frozen=True)
class Case:
    """One instrument: its truth and all that ``vision.identity.identify`` was given for it."""

    photo: str
    truth: dict[str, Any]
    dimensions: Dimensions
    evidence: Any
    colour: HandleColour
    seen: Named | None
    tip_lost: bool
    extra: Extra
    px_per_mm: float


def main() -> None:
    """Read, print the ablation and, on request, the best weights."""
    parser = argparse.ArgumentParser(prog="python -m tests.study.identity", description=__doc__)
    parser.add_argument("photos", type=Path, help="folder of photos with their truth")
    parser.add_argument("--fit", action="store_true", help="search the weights for the least log-loss (development seeds only)")
    parser.add_argument("--robust", type=int, default=0, metavar="N", help="read N photos again turned, dim, tinted, JPEG 60, soft")
    parser.add_argument("--keep", type=Path, help="file for what was read; used instead of reading when it exists")
    asked = parser.parse_args()
    if asked.robust:
        print_robust(sorted(asked.photos.glob("*.jpg"))[: asked.robust])
        return
    cases = _cases(asked.photos, asked.keep)
    if not cases:
        raise SystemExit(f"{asked.photos} has no photo with a truth beside it in which an instrument was found")
    print_ablation(cases)
    if asked.fit:
        late = [case.photo for case in cases if case.truth.get("seed", 0) >= 5000]
        if late:
            raise SystemExit(f"--fit needs development seeds below 5000, has {late[0]} and {len(late) - 1} more: leave them out")
        print_fit(cases)


def _cases(folder: Path, keep: Path | None) -> list[Case]:
    if keep is not None and keep.exists():
        return list(pickle.loads(keep.read_bytes()))  # noqa: S301  our own file of the run before
    paths = [path for path in sorted(folder.glob("*.jpg")) if path.with_suffix(".json").exists()]
    found = [case for path in track(paths, description="reading", console=Console(stderr=True)) for case in read_cases(path)]
    if keep is not None:
        keep.write_bytes(pickle.dumps(found))
    return found


def read_cases(path: Path) -> list[Case]:
    """Read one photo and pair what was found with the truth by the places of tip and handle."""
    truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    told = truth["instruments"]
    kept: list[Looked] = []
    read_photo(path, given=None, prints=NO_PRINTS, held=len(told) == 1 and told[0]["pose"] == "flat", keep=kept)
    return [case for looked in kept for case in paired(looked, told, truth.get("seed", 0), path.name)]


def paired(looked: Looked, told: Sequence[dict[str, Any]], seed: int, name: str) -> list[Case]:
    """One case for every reading that lies on an instrument of the truth; ghosts are no case."""
    cases = []
    for candidate, measured in looked.found:
        given = given_of(looked.relative, candidate, measured)
        axis = measured.edges.strip.axis_px
        inner = axis[len(axis) // 4 : 3 * len(axis) // 4 : 5]
        gaps = [_gap(inner, np.array([row[1:] for row in one["axis_px"]])) for one in told]
        best = int(np.argmin(gaps))
        if gaps[best] < NEAR_MM * measured.scale_at.value / 3.0:
            one = {**told[best], "seed": seed}
            cases.append(
                Case(
                    name,
                    one,
                    given.dimensions,
                    measured.evidence,
                    given.colour,
                    given.seen,
                    given.tip_lost,
                    measured.extra,
                    measured.scale_at.value,
                )
            )
    return cases


def _gap(ours: np.ndarray, theirs: np.ndarray) -> float:
    """Median distance (px) of the one's axis points from the other's axis."""
    return float(np.median(np.linalg.norm(ours[:, None] - theirs[None], axis=2).min(axis=1)))


def named(case: Case, weights: Weights) -> Identity:
    """Name one case with other weights."""
    return identify(
        case.dimensions, case.evidence, case.colour, case.seen, tip_lost=case.tip_lost, extra=case.extra, weights=weights
    )


def print_ablation(cases: Sequence[Case]) -> None:
    """Print what shape, network, metal and colour do alone and together."""
    print(f"{len(cases)} instruments in {len({case.photo for case in cases})} photos, {_span(c.px_per_mm for c in cases)} px/mm")
    print(f"\n{'family from':24s} {'n':>4s} {'named right':>20s} {'open':>6s} {'confident wrong':>16s} {'log-loss':>9s} {'Brier':>7s}")
    usual = Weights()
    ways = {
        "outline and figures": Weights(usual.outline, usual.figures, 0.0),
        "network": Weights(0.0, 0.0, usual.network),
        "both": usual,
    }
    for name, weights in ways.items():
        _print_row(name, [(_chances(named(case, weights).family), _family(case)) for case in cases], 0.7)
    print(f"  a constant's log-loss {_constant([_family(case) for case in cases]):.3f}")
    _print_kinds(cases, usual)
    print(f"\n{'size from':24s} {'n':>4s} {'named right':>20s} {'open':>6s} {'confident wrong':>16s} {'log-loss':>9s} {'Brier':>7s}")
    sized = [case for case in cases if case.truth["size"] and case.truth["family"] in FOUR]
    by: dict[str, Callable[[Case], dict[str, float]]] = {
        "handle colour": lambda case: _sizes(case, metal=False, colour=True),
        "metal": lambda case: _sizes(case, metal=True, colour=False),
        "both": lambda case: _sizes(case, metal=True, colour=True),
    }
    for name, way in by.items():
        _print_row(name, [(way(case), str(case.truth["size"])) for case in sized], 0.8)
    print(f"  a constant's log-loss {_constant([str(case.truth['size']) for case in sized]):.3f}")


def _print_row(name: str, pairs: Sequence[tuple[dict[str, float], str]], decided: float) -> None:
    """One way: of the answers given how many are right (95 % interval), how many stay open, how good the chances are."""
    if not pairs:
        return
    answers = [(max(chances, key=chances.__getitem__), max(chances.values()), true) for chances, true in pairs if chances]
    given = [(said, p, true) for said, p, true in answers if p >= decided]
    right = sum(said == true for said, _, true in given)
    wrong = sum(said != true and p >= 0.9 for said, p, true in given)
    low, high = wilson(right, len(given)) if given else (0.0, 1.0)
    share = f"{right}/{len(given)} ({100 * low:.0f} to {100 * high:.0f} %)"
    brier = np.mean([sum((p - (name == true)) ** 2 for name, p in c.items()) + (true not in c) for c, true in pairs])
    print(f"{name:24s} {len(pairs):4d} {share:>20s} {len(pairs) - len(given):6d} {wrong:16d} {_loss(pairs):9.3f} {brier:7.3f}")


def _print_kinds(cases: Sequence[Case], weights: Weights) -> None:
    """Per family and kind of stranger: what they were called."""
    kinds = sorted({case.truth["stranger"] or case.truth["family"] for case in cases})
    for kind in kinds:
        mine = [case for case in cases if (case.truth["stranger"] or case.truth["family"]) == kind]
        said = Counter(str(named(case, weights).family.value) for case in mine)
        print(f"  {kind:18s} n {len(mine):3d}: " + ", ".join(f"{name} {count}" for name, count in said.most_common()))
    strangers = [case for case in cases if case.truth["family"] not in FOUR]
    taken = [named(case, weights).family for case in strangers]
    bold = sum(one.value in FOUR and one.probability >= 0.8 for one in taken)
    sections = [(named(case, weights).section, case.truth["cross_section"]) for case in cases if case.truth["family"] in FOUR]
    print(f"  strangers named as one of the four at 0.8 or more: {bold} of {len(strangers)}")
    print(f"  section right {sum(a == b for a, b in sections)}, open {sum(a is None for a, _ in sections)} of {len(sections)}")


def print_fit(cases: Sequence[Case]) -> None:
    """Search a grid of weights for the least log-loss of the family, each case counted once."""
    scored = []
    for outline, figures, network in itertools.product(GRID, GRID, GRID):
        pairs = [(_chances(named(case, Weights(outline, figures, network)).family), _family(case)) for case in cases]
        scored.append((_loss(pairs), outline, figures, network))
    scored.sort()
    print("\nleast log-loss (outline, figures, network):")
    for loss, *weights in scored[:5]:
        print(f"  {loss:.4f}  {weights}")
    near = [row[1:] for row in scored if row[0] < scored[0][0] + 0.01]
    middle = np.mean(near, axis=0)  # of all that do about as well: the minimum itself hangs on single cases
    print("OUTLINE_WEIGHT, FIGURE_WEIGHT, NETWORK_WEIGHT = " + ", ".join(f"{value:.2f}" for value in middle))


def print_robust(paths: Sequence[Path]) -> None:
    """Print how often family, section, size and hand change when the same photo is handed in otherwise."""
    changed: dict[str, Counter[str]] = {name: Counter() for name in CHANGES}
    pairs = 0
    with tempfile.TemporaryDirectory() as folder:
        for path in track(paths, description="reading again", console=Console(stderr=True)):
            before = _only(path)
            for name, change in CHANGES.items() if before else ():
                other = Path(folder) / path.name
                with Image.open(path) as photo:
                    change(photo.convert("RGB")).save(other, quality=60 if name == "JPEG 60" else 95, exif=photo.getexif())
                after = _only(other)
                for what, old in before.items() if before else ():
                    new = None if after is None else after[what]
                    changed[name][what + (" lost" if new is None and old is not None else " other" if new != old else " same")] += 1
            pairs += before is not None
    for name, counts in changed.items():
        print(f"{name:12s} n {pairs}: " + ", ".join(f"{what} {count}" for what, count in sorted(counts.items())))


def _only(path: Path) -> dict[str, Any] | None:
    """Names of a photo's one instrument."""
    made = read_photo(path, given=None, prints=NO_PRINTS, held=False)
    if len(made.instruments) != 1:
        return None
    one = made.instruments[0]
    return {"family": one.family.value, "section": one.cross_section, "size": one.size.value, "hand": one.twist_hand}


def _tinted(photo: Image.Image) -> Image.Image:
    red, green, blue = photo.split()
    return Image.merge("RGB", (red.point(lambda v: min(255, v * 1.06)), green, blue.point(lambda v: v * 0.86)))


CHANGES: dict[str, Callable[[Image.Image], Image.Image]] = {
    "turned 90": lambda photo: photo.transpose(Image.Transpose.ROTATE_90),
    "turned 180": lambda photo: photo.transpose(Image.Transpose.ROTATE_180),
    "dim": lambda photo: photo.point(lambda v: v * 0.75),
    "warm": _tinted,
    "JPEG 60": lambda photo: photo,
    "soft": lambda photo: photo.filter(ImageFilter.GaussianBlur(1.0)),
}


def _chances(choice: Any) -> dict[str, float]:
    named_too = {} if choice.value is None else {choice.value: choice.probability}
    return {**choice.others, **named_too}


def _family(case: Case) -> str:
    return str(case.truth["family"])


def _sizes(case: Case, *, metal: bool, colour: bool) -> dict[str, float]:
    diameter = case.dimensions.d0_mm if metal and not case.tip_lost else None
    shank = case.dimensions.shank_width_mm if metal else None
    broach = named(case, Weights()).family.value == "barbed-broach"
    made = weigh_sizes(diameter, shank, case.colour if colour else NO_COLOUR, broach=broach)
    return {str(size): share for size, share in made.shares.items()}


def _loss(pairs: Sequence[tuple[dict[str, float], str]]) -> float:
    return float(np.mean([-math.log(max(chances.get(true, 0.0), LEAST)) for chances, true in pairs]))


def _constant(truths: Sequence[str]) -> float:
    """Log-loss of one who always says how often each occurs here."""
    count = Counter(truths)
    return -sum(n / len(truths) * math.log(n / len(truths)) for n in count.values()) if truths else 0.0


def _span(values: Iterable[float]) -> str:
    every = list(values)
    return f"{min(every):.0f} to {max(every):.0f}"


if __name__ == "__main__":
    main()
