"""What one run of the desk works with."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from vision.desk.guard import new_token
from vision.desk.jobs import Bench
from vision.desk.live_process import LiveEye
from vision.desk.setup_bench import SetupBench
from vision.desk.share import Share
from vision.desk.wording import Say, catalogue, speaker
from vision.records.database import BUSY_S, Records, open_records

MEGABYTE = 2**20
MOST_PHOTO_MB, MOST_REQUEST_MB, MOST_PHOTOS = 120, 400, 60


def sample_folder() -> Path | None:
    """Return where the rendered sample photos lie, without loading the code that renders them; None if not installed."""
    found = importlib.util.find_spec("samples")
    for place in (found.submodule_search_locations or []) if found else []:
        folder = Path(place) / "photos"
        if folder.is_dir():
            return folder
    return None


@dataclass(frozen=True)
class Desk:
    """Folder of the records, port, words, token of this run, where the sample photos lie (None: not installed)."""

    folder: Path
    port: int
    words: Mapping[str, str] = field(default_factory=catalogue)
    token: str = field(default_factory=new_token)
    samples: Path | None = field(default_factory=sample_folder)
    prints: Path | None = None  # file of print checks, folder of camera profiles; None: the user's own
    cameras: Path | None = None
    bench: Bench | None = None
    eye: LiveEye | None = None  # looks at the frames of a live camera
    setup: SetupBench | None = None  # works for setting up
    share: Share | None = None  # what phones on the local network may do; None: nothing
    busy_s: float = BUSY_S  # how long a locked file is waited for

    @property
    def say(self) -> Say:
        """The function that gives a sentence by its name."""
        return speaker(self.words)

    @contextmanager
    def records(self) -> Iterator[Records]:
        """Open the records for one request."""
        with open_records(self.folder, busy_s=self.busy_s) as opened:
            yield opened

    def sample_photos(self) -> list[Path]:
        """Return the invented photos that came with the programme, by name."""
        return [] if self.samples is None else sorted(self.samples.glob("*.jpg"))
