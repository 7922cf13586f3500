"""What is fed: each target takes bytes and may raise only the errors that are told to a user in words."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pillow_heif
from PIL import Image

from calib.errors import CalibError
from calib.print_file import read_checks
from vision.call import read_rules
from vision.camera_file import read_profile
from vision.desk.wording import catalogue
from vision.errors import FlutegaugeError
from vision.past import earlier_instrument
from vision.photo import load_photo
from vision.records.backup import restore
from vision.records.strip_photo import stripped
from vision.tray.kit import SUFFIXES, parse_kit
from vision.verification_file import read_pieces, read_result, read_session

Target = Callable[[bytes], None]
TOLD = (FlutegaugeError, CalibError)
FORMS = ("JPEG", "PNG", "TIFF", "WEBP", "BMP", "AVIF", "HEIF")
PLACE = Path(tempfile.mkdtemp(prefix="flutegauge-fuzz-"))


def photo(data: bytes) -> None:
    """A file as a photo, and as it is kept in the records."""
    _told(lambda: load_photo(_file(data, "a.jpg")))
    _told(lambda: stripped(data))


def profile(data: bytes) -> None:
    """A camera profile."""
    _told(lambda: read_profile(_file(data, "a.toml")))


def prints(data: bytes) -> None:
    """The file of print checks."""
    _told(lambda: read_checks(_file(data, "a.json")))


def pieces(data: bytes) -> None:
    """The list of pieces of a verification on site, the verification under way, and its result."""
    path = _file(data, "b.toml")
    for read in (read_pieces, read_session, read_result):
        _told(lambda read=read: read(path))  # type: ignore[misc]


def lists(data: bytes) -> None:
    """A tray's list in each of its forms, a practice's rules, and an earlier reading to compare with."""
    for suffix in SUFFIXES:
        _told(lambda suffix=suffix: parse_kit(data, suffix, "invented"))  # type: ignore[misc]
    _told(lambda: read_rules(_file(data, "d.toml")))
    _told(lambda: earlier_instrument(_file(data, "d.json")))


def words(data: bytes) -> None:
    """A translation of the desk's sentences."""
    _told(lambda: catalogue(_file(data, "c.toml")))


def whole_backup(data: bytes) -> None:
    """A backup of the records."""
    target = PLACE / "restored"
    _told(lambda: restore(_file(data, "a.zip"), target))


TARGETS: dict[str, Target] = {
    "photo": photo, "profile": profile, "prints": prints, "pieces": pieces, "lists": lists, "words": words, "backup": whole_backup,
}  # fmt: skip


def seeds(name: str) -> list[bytes]:
    """The committed seeds of a target, and for photos one small picture of every form."""
    folder = Path(__file__).parent / "corpus" / name
    kept = [path.read_bytes() for path in sorted(folder.iterdir())] if folder.is_dir() else []
    return kept + [_picture(form) for form in FORMS if name == "photo"]


@cache
def _picture(form: str) -> bytes:
    pillow_heif.register_heif_opener()
    target = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "Invented"
    image = Image.radial_gradient("L").resize((40, 33)).convert("RGB")
    image.save(target, form, **({} if form == "BMP" else {"exif": exif.tobytes()}))
    return target.getvalue()


def _told(call: Callable[[], object]) -> None:
    try:
        call()
    except TOLD as error:
        if not str(error).strip() or "\n" in str(error).strip():
            raise AssertionError(f"no sentence: {error!r}") from error


def _file(data: bytes, name: str) -> Path:
    path = PLACE / name
    path.write_bytes(data)
    return path
