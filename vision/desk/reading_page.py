"""What the pages of a reading are filled with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vision.desk import shown
from vision.desk.advice import advice_for
from vision.desk.before_photo import first_lines
from vision.desk.drawing import Drawing, drawing_of
from vision.desk.pictures import upright_px
from vision.desk.plots import numbers_of, pitch_plot, profile_plot
from vision.desk.wording import said_or
from vision.reading import FAMILIES
from vision.records.compare import compared, partner
from vision.records.database import Records
from vision.records.history import DECISIONS, discarded, judgements
from vision.records.instruments import Instrument, instrument_by_id, instruments_of_kit, kit
from vision.records.photos import photo_path
from vision.records.readings import KeptReading, examined, trace
from vision.records.search_instruments import codes_in_use

Json = dict[str, Any]
Words = Mapping[str, str]
NO_TRACE: Json = {"profile": [], "pitch": [], "trend": [], "axis_px": [], "axis_x_mm": []}


def reading_page(records: Records, words: Words, kept: KeptReading, which: int) -> Json:
    """Return everything the page of one instrument in one reading shows. Raises RecordsError."""
    one, row = kept.instrument(which), examined(records, kept.id, which)[0]
    drawn = trace(records, row.id) or NO_TRACE
    findings = one["condition"]["findings"]
    rows = shown.rows_of(one, words)
    meant = None if row.instrument_id is None else instrument_by_id(records, row.instrument_id)
    return {
        "kept": kept,
        "one": one,
        "which": which,
        "count": len(kept.photo["instruments"]),
        "name": shown.name_of(one, words),
        "call": shown.call_of(one["condition"]["call"], words),
        "first": first_lines(records, words, one["condition"], meant),
        "rows": rows,
        "key": shown.key_rows(rows),
        "sure": shown.sure_of(one, words),
        "found": shown.found_in(one, words),
        "visible": shown.visible_in(one, words),
        "advice": advice_for(one, kept.photo["scale"]),
        "scale": scale_texts(kept.photo["scale"]),
        "drawing": drawing_for(records, kept, which),
        "has_photo": has_photo(records, kept),
        "trace": {name: drawn[name] for name in ("axis_px", "axis_x_mm", "profile", "pitch", "trend")},
        "plots": [plot for plot in (profile_plot(drawn, findings, words), pitch_plot(drawn, findings, words)) if plot],
        "plot_numbers": numbers_of(drawn),
        "judgements": judgements(records, row.id),
        "families": FAMILIES,
        "decisions": DECISIONS,
        "instrument": meant,
        "discarded": None if meant is None else discarded(records, meant.id),
        "examined_id": row.id,
        "codes": _codes(records, kept, meant),
        "others": _other_readings(records, kept),
    }


def overview_page(records: Records, words: Words, kept: KeptReading) -> Json:
    """Return what the page of a photo with no or several instruments shows."""
    size = upright_px(records, kept.photo_sha256) if kept.photo_sha256 and has_photo(records, kept) else None
    listed = [
        (one, shown.name_of(one, words), shown.call_of(one["condition"]["call"], words))
        for one in kept.photo["instruments"]
    ]
    return {
        "kept": kept,
        "listed": listed,
        "size": size,
        "scale": scale_texts(kept.photo["scale"]),
        "others": _other_readings(records, kept),
    }


def comparison_page(words: Words, before: KeptReading, after: KeptReading) -> Json:
    """Return two readings of one photo side by side."""
    pairs = []
    for one in before.photo["instruments"]:
        other = partner(one, after.photo["instruments"])
        rows = [] if other is None else [_moved(moved, words) for moved in compared(one, other)]
        pairs.append(
            (shown.name_of(one, words), None if other is None else shown.name_of(other, words), one, other, rows)
        )
    return {"before": before, "after": after, "pairs": pairs}


def drawing_for(records: Records, kept: KeptReading, which: int) -> Drawing | None:
    """Return what to draw over the photo; None when no outline was kept. Raises RecordsError."""
    row = examined(records, kept.id, which)[0]
    drawn = trace(records, row.id)
    if drawn is None:
        return None
    one = kept.instrument(which)
    size = upright_px(records, kept.photo_sha256) if kept.photo_sha256 and has_photo(records, kept) else None
    return drawing_of(drawn, one["condition"]["findings"], size or (100_000, 100_000))


def has_photo(records: Records, kept: KeptReading) -> bool:
    """Tell whether the picture itself is still there."""
    return kept.photo_sha256 is not None and photo_path(records, kept.photo_sha256) is not None


def scale_texts(scale: Json | None) -> Json | None:
    """Return the scale's numbers as text."""
    if scale is None:
        return None
    height = scale["camera_height_mm"]
    return {
        **scale,
        "px_per_mm": shown.texts(scale["px_per_mm"]),
        "camera_height_mm": None if height is None else shown.texts(height),
    }


def _codes(records: Records, kept: KeptReading, meant: Instrument | None) -> list[str]:
    """Return the codes to choose from: the one it is now, those of a kit whose tag was seen, then others."""
    named = kept.settings.get("kit")
    of_kit = instruments_of_kit(records, kit(records, named).id) if named else []
    first = list(dict.fromkeys(one.code for one in [*([meant] if meant else []), *of_kit]))
    return first + [code for code in codes_in_use(records) if code not in first]


def _other_readings(records: Records, kept: KeptReading) -> list[int]:
    """Return the other readings of the same photo, oldest first."""
    if kept.photo_sha256 is None:
        return []
    found = records.db.execute(
        "SELECT id FROM reading WHERE photo_sha256 = ? AND id <> ? AND error_kind IS NULL ORDER BY id",
        (kept.photo_sha256, kept.id),
    )
    return [int(row["id"]) for row in found]


def _moved(moved: Any, words: Words) -> tuple[str, str, str, str]:
    texts = [None if q is None else " (u ".join(shown.texts(q)) + ")" for q in (moved.before, moved.after)]
    missing = words["reading.not_measured"]
    apart = "" if moved.apart is None else f"{moved.apart:.2f}"
    return said_or(words, f"words.{moved.name}", moved.name), texts[0] or missing, texts[1] or missing, apart
