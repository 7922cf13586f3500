"""Records filled with invented readings, and the desk over them without a measuring process."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import replace
from pathlib import Path
from typing import Any

from invented_readings import failed, k_file, reading
from PIL import Image
from starlette.testclient import TestClient

from vision.camera_profile import CameraKey, CameraProfile
from vision.desk.app import make_app
from vision.desk.jobs import Task
from vision.desk.keeping import keep_answer
from vision.desk.settings import Desk
from vision.quantity import Quantity
from vision.records.database import Records, open_records
from vision.records.history import add_event, judge
from vision.records.instruments import NewInstrument, add_instrument, kit
from vision.records.photos import keep_photo
from vision.records.readings import NewReading, examined, save_reading
from vision.records.tags import give_tag
from vision.records.trace_json import traces
from vision.report.document import document
from vision.tray.looked import TrayPhoto
from vision.tray.told import Told
from vision.tray.told_json import tray_json
from vision.verification_file import ENDING, RESULT

PORT = 8765


def profile() -> CameraProfile:
    """An invented camera's profile."""
    key = CameraKey("Invented", "Tele 1", None, 9.0, 77.0, None, (4000, 3000))
    unit = tuple(tuple(float(row == column) for column in range(5)) for row in range(5))
    return CameraProfile(
        name="desk", key=key, made_on=dt.date(2026, 1, 5), made_by="flutegauge 0.1.0", focal_px=Quantity(8000.0, 8.0),
        at_px_per_mm=60.0, growth_mm=Quantity(9.0, 1.0), centre_x_px=Quantity(3.0, 2.0), centre_y_px=Quantity(-1.0, 2.0),
        k1=Quantity(0.01, 0.001), correlation=unit, landscape=True, residual_px=0.2, photos=("a.jpg",), saddles=400,
        px_per_mm_range=(50.0, 70.0), print_checked=True, advice=(),
    )  # fmt: skip


BASE = f"http://127.0.0.1:{PORT}"


def site_result(folder: Path) -> Path:
    """A result of a verification on site, beside the camera profiles."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"desk{ENDING}"
    lines = [f'format = "{RESULT}"', "made_on = 2026-01-06", 'statement = "decides diameters from 0.02 mm on"']
    lines += ['software = "flutegauge 0.1.0"', 'models = "outline 0123"', "held = true"]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def shot(shade: int = 150, size: tuple[int, int] = (2000, 1200)) -> bytes:
    """A plain grey picture, as large as the invented readings' coordinates need."""
    target = io.BytesIO()
    Image.new("RGB", size, (shade, shade, shade)).save(target, "JPEG", quality=40)
    return target.getvalue()


def save(records: Records, file: str = "macro-01.jpg", *, instruments: int = 2, meant: int | None = None) -> int:
    """Save one invented reading of one or two instruments."""
    made = reading(file, instruments=instruments)
    photo = keep_photo(records, shot(), file)
    named = {} if meant is None else {1: meant}
    settings = {"held": False, "tags": [], "kit": None, "unknown_tags": []}
    return save_reading(records, NewReading(document([made], {"outline": "sha256:1"}), traces(made), photo.sha256, settings, named))


def fill(folder: Path) -> None:
    """Reading 1 and 2: one instrument, K-7; reading 3: two instruments; reading 4: a photo that failed; a kit with a tag."""
    with open_records(folder) as records:
        box = kit(records, "BOX-1", make=True)
        one = add_instrument(records, NewInstrument("K-7", "k-file", 25, 25.0, "stainless steel", True, box.id, "3", "red ring"))
        add_instrument(records, NewInstrument("R-1", "reamer", 30))
        give_tag(records, instrument_id=one.id)
        for _ in range(2):
            save(records, instruments=1, meant=one.id)
        save(records, "tray.jpg")
        save_reading(records, NewReading(document([failed()], {})))
        judge(records, examined(records, 1)[0].id, "AB")
        judge(records, examined(records, 1)[0].id, "CD", size=30, note="ring says 30")
        for done in ("used", "cleaned", "sterilised"):
            add_event(records, one.id, done, "AB", cycle="C-12" if done == "sterilised" else None)


def client(folder: Path, *, busy_s: float = 5.0) -> TestClient:
    """The desk in this process; nothing is measured unless a photo is sent."""
    desk = Desk(folder, PORT, prints=folder / "no-prints.json", cameras=folder / "no-cameras", busy_s=busy_s)
    made = TestClient(make_app(desk, warm=False), base_url=BASE, raise_server_exceptions=False, follow_redirects=False)
    made.headers["accept"] = "text/html"
    return made


def token(of: TestClient) -> str:
    return str(of.get("/api/token").json()["token"])


def sent(desk: TestClient, path: str, **form: str) -> str:
    """Send a form with its token; return where the answer leads."""
    answer = desk.post(path, data={"token": token(desk), **form})
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def told_of(number: int, family: str | None = "k-file", size: int | None = 25, **more: Any) -> Told:
    usual = Told(number, "a.jpg", "named", family, size, (), 25.0, 0.2, (30.0, 20.0 * number), 0.0, number, 20.0, "red")
    return replace(usual, **more)


TRAY = (
    told_of(1), told_of(2, "reamer", 30), told_of(3, "hedstroem-file", 40, kind="damaged", why=("bent sharply by 40 deg",)),
    told_of(4, None, None, kind="undecided", why=("family not decided",)),
)  # fmt: skip


def keep_tray(folder: Path, name: str, *instruments: Told, broken: bool = False) -> int:
    """Keep a tray photo's reading as the measuring process would answer it."""
    with open_records(folder) as records:
        sha256 = keep_photo(records, shot(150 + len(name)), name).sha256
    read = replace(reading(), instruments=tuple(k_file(one.number) for one in instruments))
    made = replace(failed() if broken else read, file=name)
    photo = TrayPhoto(made, instruments, "A4-M1", "it is dark" if broken else None)
    drawn = {str(number): line for number, line in traces(made).items()}
    answer = {"document": document([made], {}), "traces": drawn, "tags": [], "tray": tray_json(photo)}
    return keep_answer(folder, Task(Path(name), name, sha256, {"tray": True}), answer)
