"""`flutegauge sort`: what lies where on a tray, in the order of putting away."""

from __future__ import annotations

import argparse

from vision.commands.given_photos import given_once
from vision.commands.outputs import new_pdf
from vision.commands.tray_photos import draw_pictures, partial_of, planned_pictures, read_trays
from vision.report.words import plain
from vision.tray.groups import Sorted, lines, sort_tray
from vision.tray.merged import Seen, merge
from vision.tray.slip import write_slip
from vision.tray.warned import cautions

FINE, PHOTO_FAILED = 0, 2


def sort_photos(arguments: argparse.Namespace) -> int:
    """Read, sort, print; draw and write what was asked for. Returns the exit status."""
    given_once(arguments.photos)
    if arguments.pdf is not None:
        new_pdf(arguments.pdf, overwrite=arguments.overwrite, inputs=arguments.photos)
    targets = planned_pictures(arguments)
    read = read_trays(arguments.photos, arguments)
    if all(one.reading.error is not None for one in read):
        print(plain(f"not sorted: {partial_of(read)}"))
        return PHOTO_FAILED
    warned = cautions(one for photo in read for one in photo.told)
    tray = sort_tray(merge(read, relaid=arguments.relaid))
    partial = partial_of(read)
    said = ([f"PARTIAL: {partial}"] if partial else []) + lines(tray) + [note for photo in read for note in photo.left_out]
    for line in [*said, *(f"{one.file}: {one.retake}" for one in read if one.retake and one.reading.error is None)]:
        print(plain(line))
    marks = {(view.photo, view.number): tray.mark_of(one) for one in _all(tray) for view in one.views}
    draw_pictures(targets, read, arguments.photos, marks, said, warned)
    if arguments.pdf is not None:
        write_slip(arguments.pdf, tray, read)
        print(f"slip: {plain(str(arguments.pdf))}")
    print("\n" + " ".join(warned))
    return PHOTO_FAILED if partial else FINE


def _all(tray: Sorted) -> list[Seen]:
    return [*(one for group in tray.groups for one in group.members), *tray.damaged, *tray.undecided]
