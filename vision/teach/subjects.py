"""Rendered, invented instruments to learn on: the sample photos, or fresh ones from the renderer, with their truth."""

from __future__ import annotations

import importlib.util
import json
import random
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PIL import Image

from vision.errors import UsageError
from vision.teach.facts import FAMILIES

SIZES = (15, 20, 25, 30, 35, 40, 50, 60, 80)
BROACH_SIZES = (20, 25, 30, 40, 50)
ROOM_MM = 2.5


@dataclass(frozen=True)
class Subject:
    """One picture to ask about: where it is, what it truly is, and the part of it (left, top, right, bottom) to be shown."""

    photo: Path
    family: str
    size: int
    section: str
    damage: tuple[str, ...]
    box_px: tuple[int, int, int, int]


def sample_subjects() -> list[Subject]:
    """The sample photos that came with the programme. Raises UsageError when they are missing."""
    found = importlib.util.find_spec("samples")
    folders = [Path(place) / "photos" for place in (found.submodule_search_locations or [])] if found else []
    photos = sorted(path for folder in folders for path in folder.glob("*.jpg") if path.with_suffix(".json").is_file())
    if not photos:
        raise UsageError("the sample photos are not installed: use --pictures DIR to render fresh ones")
    return [subject for photo in photos if (subject := subject_of(photo)) is not None]


def fresh_subjects(folder: Path, seed: int, count: int) -> list[Subject]:
    """Render fresh pictures by the sample renderer, a process of its own; the same seed gives the same pictures."""
    draw = random.Random(seed)  # noqa: S311 - a quiz, no secret
    made: list[Subject] = []
    for k in range(count):
        family = draw.choice(sorted(FAMILIES))
        size = draw.choice(BROACH_SIZES if family == "barbed-broach" else SIZES)
        number = 100_000 + 100 * seed + k
        before = set(folder.glob("*.jpg"))
        said = [sys.executable, "-m", "samples", "render", str(folder), "--family", family, "--size", str(size)]
        said += ["--seed", str(number), "--px-per-mm", "45", "--image", "1800x700"]
        done = subprocess.run(said, capture_output=True, text=True, check=False)  # noqa: S603 - our own renderer
        photos = list(folder.glob(f"*-{number}.jpg"))
        if done.returncode != 0 or not photos:
            said_last = done.stderr.strip().splitlines()[-1:] or ["no word"]
            raise UsageError(f"the renderer failed ({said_last[0]}); {len(made)} pictures are in {folder}")
        subject = subject_of((sorted(set(photos) - before) or photos)[0])
        if subject is not None:
            made.append(subject)
    return made


def subject_of(photo: Path) -> Subject | None:
    """What the truth beside a rendered photo says; None for what is no member of the four families."""
    truth = json.loads(photo.with_suffix(".json").read_text(encoding="utf-8"))
    one = truth["instruments"][0]
    if one["family"] not in FAMILIES or not one["size"]:
        return None
    hurt = tuple(damage["kind"] for damage in one["damage"])
    return Subject(photo, one["family"], int(one["size"]), one["cross_section"], hurt, _box(one, truth))


def picture_of(subject: Subject, width_px: int = 1400) -> Image.Image:
    """The part to be shown, no wider than ``width_px``."""
    with Image.open(subject.photo) as opened:
        shown = opened.convert("RGB").crop(subject.box_px)
    if shown.height > shown.width:  # lying along the page it is shown larger
        shown = shown.transpose(Image.Transpose.ROTATE_90)
    shown.thumbnail((width_px, width_px))
    return shown


def chosen(subjects: Sequence[Subject], count: int, seed: int) -> list[Subject]:
    """Draw subjects: families in turn, so that none is missing; the same seed draws the same."""
    draw = random.Random(seed)  # noqa: S311
    by_family = {family: [s for s in subjects if s.family == family] for family in sorted(FAMILIES)}
    for members in by_family.values():
        draw.shuffle(members)
    families = [family for family, members in by_family.items() if members]
    draw.shuffle(families)
    drawn = []
    for k in range(count):
        members = by_family[families[k % len(families)]]
        drawn.append(members[(k // len(families)) % len(members)])
    return drawn


def _box(one: dict[str, Any], truth: dict[str, Any]) -> tuple[int, int, int, int]:
    axis = [point[1:] for point in one["axis_px"]]
    room = ROOM_MM * truth["camera"]["px_per_mm"]
    xs, ys = [p[0] for p in axis], [p[1] for p in axis]
    size = truth["image"]
    left, top = max(int(min(xs) - room), 0), max(int(min(ys) - room), 0)
    return left, top, min(int(max(xs) + room), size["width"]), min(int(max(ys) + room), size["height"])
