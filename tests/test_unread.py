"""What is surely there without a readable outline is counted, said and drawn, and claims no number."""

from __future__ import annotations

import io
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from invented_readings import reading
from rich.console import Console

from vision.axis import Axis
from vision.find import SURE_RANK, Candidate
from vision.pipeline import _shade_beside
from vision.quantity import Quantity
from vision.reading import InstrumentReading
from vision.report.document import document, text
from vision.report.overview import overview
from vision.report.table import print_reading
from vision.tray.told import tell
from vision.unread import (
    WHY,
    HandleSeen,
    handle_seen,
    led_on,
    part_of_another,
    stands_apart,
    surely_there,
    unread,
    whole,
)

RED, BLACK, PAPER, WHITE = (0.55, 0.03, 0.03), (0.02, 0.02, 0.02), (1.0, 1.0, 1.0), (1.15, 1.15, 1.12)


def seen(colour: tuple[float, float, float], *, rank: int = 3) -> tuple[np.ndarray, Candidate]:
    """A handle of 12 mm x 4 mm at 20 px/mm on paper, with a shaft to its left."""
    relative = np.full((200, 800, 3), PAPER, np.float32)
    handle, thin = np.zeros((200, 800), bool), np.zeros((200, 800), bool)
    handle[60:140, 520:760], thin[96:104, 40:520] = True, True
    relative[handle] = colour
    relative[60:80, 520:760] *= 1.3  # lit from above
    return relative, Candidate(handle | thin, thin, handle, np.zeros_like(thin), (0, 0), False, rank=rank)


def one() -> InstrumentReading:
    relative, candidate = seen(RED)
    line = np.column_stack([np.arange(40.0, 600.0), np.full(560, 100.0)])
    photo: Any = SimpleNamespace(width_px=800, height_px=200)
    scale: Any = SimpleNamespace(px_per_mm_at=lambda _: Quantity(20.0, 0.1))
    return unread(photo, scale, relative, candidate, Axis(line, 0, 480, 0.2), 2)


def page(printed: float = 1.0) -> Any:
    """The plane beneath ``seen``, all white or all printed."""
    return SimpleNamespace(printed=np.full((200, 800), printed, np.float32), px_per_mm=20.0, to_mm=lambda px: px / 20.0)


@pytest.mark.parametrize(
    ("colour", "rank", "printed", "there"),
    [(RED, 3, 1.0, True), (RED, 1, 1.0, False),
     (BLACK, 2, 1.0, True), (BLACK, 2, 0.0, False), (BLACK, 1, 1.0, False), (PAPER, 2, 1.0, False),
     (WHITE, 2, 1.0, True), (WHITE, 2, 0.0, True), (WHITE, 1, 1.0, False)],
)  # fmt: skip
def test_a_coloured_handle_speaks_for_it_a_black_one_where_paper_is_white_and_a_whiter_one(
    colour: tuple[float, float, float], rank: int, printed: float, there: bool
) -> None:
    assert surely_there(*seen(colour, rank=rank), page(printed)) == there


def test_a_handle_far_from_all_others_stands_apart_and_a_piece_of_one_does_not() -> None:
    relative, candidate = seen(RED)
    handle = handle_seen(candidate, page(), relative)

    assert handle.middle_mm == pytest.approx([31.975, 4.975])
    assert handle.colour == "red"
    far, near, other = (
        HandleSeen(np.array(place), colour) for place, colour in (((44.0, 5.0), "red"), ((32.0, 9.0), "red"), ((32.0, 9.0), "blue"))
    )
    assert stands_apart(handle, [far, HandleSeen(None, None)])
    assert not stands_apart(handle, [near])
    assert part_of_another(handle, [far, near])
    assert not part_of_another(handle, [far, other])
    assert not stands_apart(HandleSeen(None, None), [])


def test_a_handle_is_whole_where_it_is_as_large_as_one_or_the_frame_cuts_it() -> None:
    candidate = seen(RED)[1]
    short = candidate.handle.copy()
    short[:, 640:] = False  # 6 mm by 4 mm: a stop lying on its side with its shadow is no larger

    assert whole(candidate, page())
    assert not whole(replace(candidate, handle=short), page())
    assert whole(replace(candidate, handle=short, cut=True), page())


def test_one_that_is_lost_early_is_led_on_to_the_shortest_length() -> None:
    """Seen for 8 mm before a handle whose middle lies 6 mm behind its front, at 20 px/mm."""
    scale: Any = SimpleNamespace(to_plane_mm=lambda px: np.asarray(px) / 20.0, to_px=lambda mm: np.asarray(mm) * 20.0)
    axis = Axis(np.column_stack([np.arange(300.0, 480.0), np.full(180, 100.0)]), 0, 160, 0.2)

    led = led_on(axis, HandleSeen(np.array([29.0, 5.0]), "red"), scale)

    assert led.px[led.front_index] == pytest.approx([460.0, 100.0])
    assert led.px[led.tip_index] == pytest.approx([460.0 - 21.0 * 20.0, 100.0])
    assert led_on(led, HandleSeen(np.array([29.0, 5.0]), "red"), scale) is led
    assert led_on(axis, HandleSeen(None, None), scale) is axis


def test_it_has_a_place_and_a_reason_and_no_number() -> None:
    read = one()

    assert (read.id, read.handle.colour, read.notes) == (2, "red", (WHY,))
    assert read.family.value is None
    assert read.d0_mm is None
    assert (read.tip_px, read.handle_px) == ((40.0, 100.0), (519.0, 100.0))


def test_every_report_shows_it_and_a_tray_asks_for_a_close_up() -> None:
    photo = replace(reading(), instruments=(*reading().instruments, one()))
    console = Console(width=120, record=True, file=io.StringIO())

    print_reading(photo, console)
    drawn = overview(SimpleNamespace(rgb=np.full((1200, 2000, 3), 150, np.uint8), width_px=2000, height_px=1200), photo)  # type: ignore[arg-type]

    assert "cannot be followed" in console.export_text()
    assert WHY in text(document([photo], {}))
    assert drawn is not None
    told = tell(one(), "a.jpg", unread=True)
    assert (told.kind, told.why) == ("undecided", (WHY,))


@pytest.mark.parametrize(("colour", "dropped"), [("white", False), (None, True)])
def test_what_is_white_beside_a_handle_is_not_its_shadow(colour: str | None, dropped: bool) -> None:
    """The deep shadow of a handle is black; of a white handle half hidden beside it the unread piece is told."""
    small = SimpleNamespace(rank=SURE_RANK, cut=False, handle=np.ones((3, 3), bool))
    beside = HandleSeen(np.array([50.0, 40.0]), "red", np.array([6.0, 0.0]))

    piece, plane = HandleSeen(np.array([52.0, 41.0]), colour, np.array([1.0, 0.0])), SimpleNamespace(px_per_mm=12.0)

    shade = _shade_beside(small, piece, [beside], plane)  # type: ignore[arg-type]

    assert shade is dropped
