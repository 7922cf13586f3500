"""Photo and reading -> PNG files: an overview, a figure for each instrument; its budget and its clues on request."""

from __future__ import annotations

import io
import os
import re
import warnings
from collections.abc import Iterator
from pathlib import Path

from matplotlib.figure import Figure

from vision.photo import Photo
from vision.reading import PhotoReading
from vision.report.budget_figure import budget_figure
from vision.report.closeup import closeup
from vision.report.overview import overview
from vision.report.why_figure import why_figure


def draw(
    photo: Photo, reading: PhotoReading, directory: Path, *, name: str | None = None, overwrite: bool = False, budget: bool = False,
    why: bool = False,
) -> list[Path]:
    """Write NAME-overview.png and NAME-instrument-1.png ... into ``directory`` (made if missing); return their paths.

    With ``budget`` NAME-budget-1.png ... follow, with ``why`` NAME-why-1.png and so on. ``name`` is the photo's name
    without its ending unless stated. Raises FileExistsError before anything is written when a picture of that name is
    there already; with ``overwrite`` those pictures are replaced, leftovers of an earlier reading of the same name included.
    Raises OSError when the disk refuses.
    """
    directory.mkdir(parents=True, exist_ok=True)
    name = name or Path(reading.file).stem
    old = drawn_before(directory, name)
    if old and not overwrite:
        raise FileExistsError(old[0])
    drawn = {directory / f"{name}-{ending}.png": _png(figure) for ending, figure in _figures(photo, reading, budget=budget, why=why)}
    for path in old:  # only now that all of the new ones could be drawn
        path.unlink()
    for path, png in drawn.items():
        path.write_bytes(png)
    return list(drawn)


def drawn_before(directory: Path, name: str) -> list[Path]:
    """Return the pictures that ``draw`` left in ``directory`` under ``name``."""
    if not directory.is_dir():
        return []
    mine = re.compile(re.escape(name) + r"-(overview|(instrument|budget|why)-[0-9]+)\.png")
    return [directory / entry for entry in sorted(os.listdir(directory)) if mine.fullmatch(entry)]


def _figures(photo: Photo, reading: PhotoReading, *, budget: bool, why: bool) -> Iterator[tuple[str, Figure]]:
    yield "overview", overview(photo, reading)
    for one in reading.instruments:
        yield f"instrument-{one.id}", closeup(photo, reading.file, one)
        if budget:
            yield f"budget-{one.id}", budget_figure(reading.file, one, reading.scale)
        if why:
            yield f"why-{one.id}", why_figure(photo, reading.file, one)


def _png(figure: Figure) -> bytes:
    target = io.BytesIO()
    with warnings.catch_warnings():
        # A file name in a script that the font lacks is drawn as boxes; that is no reason to stop.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure.savefig(target, format="png", pil_kwargs={"optimize": False, "compress_level": 4})
    return target.getvalue()
