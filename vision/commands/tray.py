"""`flutegauge tray check`, `list` and `class`: trays against the list of what they must hold."""

from __future__ import annotations

import argparse
from pathlib import Path

from vision.commands.given_photos import ENDINGS, given_once, same_photos
from vision.commands.outputs import new_file, new_pdf, write_text
from vision.commands.tray_photos import draw_pictures, partial_of, planned_pictures, read_trays
from vision.errors import UsageError
from vision.report.words import plain
from vision.tray.check import Checked, check_tray
from vision.tray.check_page import SAYS, check_lines, check_story, class_story, summary
from vision.tray.class_table import class_csv, codes_in, proved_codes
from vision.tray.kit import SUFFIXES, Kit, kit_of, read_kit, write_kit
from vision.tray.looked import TrayPhoto
from vision.tray.merged import filled_in, merge
from vision.tray.told import Told
from vision.tray.warned import cautions

FINE, PHOTO_FAILED = 0, 2


def check(arguments: argparse.Namespace) -> int:
    """Check one tray; returns the exit status."""
    kit = read_kit(arguments.list)
    given_once(arguments.photos)
    if arguments.pdf is not None:
        new_pdf(arguments.pdf, overwrite=arguments.overwrite, inputs=arguments.photos)
    targets = planned_pictures(arguments)
    read = read_trays(arguments.photos, arguments)
    if all(one.reading.error is not None for one in read):
        print(plain(f"not checked: {partial_of(read)}"))
        return PHOTO_FAILED
    warned = cautions((one for photo in read for one in photo.told), kit)
    checked = _checked(kit, read, relaid=arguments.relaid)
    said = check_lines(checked) + [note for photo in read for note in photo.left_out]
    print("\n".join(plain(line) for line in said))
    draw_pictures(targets, read, arguments.photos, {}, said, warned)
    if arguments.pdf is not None:
        from vision.tray.pages import write_pages  # noqa: PLC0415 - loads the PDF library

        names = ", ".join(one.file for one in read)
        retake = "; ".join(one.retake for one in read if one.retake and one.reading.error is None) or None
        left_out = [note for one in read for note in one.left_out]
        write_pages(arguments.pdf, "Tray check", check_story(checked, "Tray check", names, retake, left_out), warned)
        print(f"page: {plain(str(arguments.pdf))}")
    print("\n" + " ".join(warned))
    return PHOTO_FAILED if checked.partial else FINE


def new_list(arguments: argparse.Namespace) -> int:
    """Write a list from photos of a correct tray; returns the exit status."""
    if arguments.out.suffix.lower() not in SUFFIXES:
        raise UsageError(f"--out {arguments.out.name} must end in .toml, .csv or .xlsx")
    given_once(arguments.photos)
    new_file(arguments.out, overwrite=arguments.overwrite, inputs=arguments.photos)
    read = read_trays(arguments.photos, arguments)
    told = [one.best for one in merge(read)]
    kit, open_ = kit_of(told, arguments.name or arguments.out.stem, slots=arguments.slots)
    if not kit.items:
        raise UsageError(f"no list was written: {partial_of(read) or 'no instrument could be named on this photo'}")
    write_kit(kit, arguments.out)
    print(f"{arguments.out}: {kit.total} instruments. Read it through and correct it: a photo does not know what ought to be there.")
    for one in open_:
        print(plain(f"not on the list, add it by hand: number {one.number}, {one.name}; {'; '.join(one.why)}"))
    partial = partial_of(read)
    if partial:
        print(plain(f"PARTIAL: {partial}"))
    return PHOTO_FAILED if partial else FINE


def check_class(arguments: argparse.Namespace) -> int:
    """Check a folder of photos, one a student; returns the exit status."""
    kit = read_kit(arguments.list)
    photos = _photos(arguments.folder)
    codes = _codes(arguments.codes, photos)
    for target, new in ((arguments.csv, new_file), (arguments.pdf, new_pdf)):
        if target is not None:
            new(target, overwrite=arguments.overwrite, inputs=photos)
    trays: list[tuple[str, str, Checked | None, str | None]] = []
    told: list[Told] = []
    for photo in photos:
        one = read_trays([photo], arguments)[0]
        done = None if one.reading.error is not None else _checked(kit, [one], relaid=False)
        trays.append((codes[photo.name], photo.name, done, one.retake))
        told += one.told
        print(plain(f"{codes[photo.name]}: {_in_short(done, one)}"))
    for first, second in same_photos(photos):
        print(plain(f"{first.name} and {second.name} are one and the same photo: ask {codes[first.name]} and {codes[second.name]}"))
    for name in sorted(set(codes) - {photo.name for photo in photos}):
        print(plain(f"{codes[name]}: no photo {name} in {arguments.folder}"))
    warned = cautions(told, kit)
    if arguments.csv is not None:
        write_text(arguments.csv, class_csv(trays), overwrite=arguments.overwrite)
        print(f"table: {plain(str(arguments.csv))}")
    if arguments.pdf is not None:
        from vision.tray.pages import write_pages  # noqa: PLC0415 - loads the PDF library

        write_pages(arguments.pdf, "Trays of the class", class_story(trays), warned)
        print(f"report: {plain(str(arguments.pdf))}")
    print("\n".join(["", SAYS, "", " ".join(warned)]))
    return PHOTO_FAILED if any(done is None for _, _, done, _ in trays) else FINE


def _checked(kit: Kit, read: list[TrayPhoto], *, relaid: bool) -> Checked:
    return check_tray(kit, merge(read, relaid=relaid), partial_of(read), frozenset() if relaid else filled_in(read))


def _in_short(checked: Checked | None, photo: TrayPhoto) -> str:
    """One line on a student's tray: outcomes, warnings, why to take the photo again."""
    if checked is None:
        return str(photo.retake)
    return "; ".join([summary(checked), *checked.warnings, *([f"take the photo again: {photo.retake}"] if photo.retake else [])])


def _photos(folder: Path) -> list[Path]:
    if not folder.is_dir():
        raise UsageError(f"{folder} is no folder: name the folder that holds one photo a student")
    photos = sorted(path for path in folder.iterdir() if path.suffix.lower() in ENDINGS)
    if not photos:
        raise UsageError(f"{folder} holds no photo ({', '.join(ENDINGS)}): put one photo a student into it")
    return photos


def _codes(path: Path | None, photos: list[Path]) -> dict[str, str]:
    """Code of each photo, from a CSV with the columns photo and code, else from the file's name."""
    if path is None:
        return dict(zip([photo.name for photo in photos], proved_codes([photo.stem for photo in photos]), strict=True))
    codes = codes_in(path)
    without = [photo.name for photo in photos if photo.name not in codes]
    if without:
        raise UsageError(f"--codes: {path} has no code for {without[0]}: add its line, or take the photo out of the folder")
    proved_codes([codes[photo.name] for photo in photos])
    return codes
