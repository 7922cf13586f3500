"""From a photo to the records through the running desk: a tag names the instrument, an old reading is read again."""

from __future__ import annotations

import io
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx2 as http
import numpy as np
import pypdfium2
import pytest
from desk_server import ROOT, Running, running
from invented_records import shot
from PIL import Image

from vision.desk.tag_find import find_tags
from vision.desk.tag_print import tags_pdf
from vision.desk.tag_wish import Label
from vision.desk.wording import catalogue, speaker
from vision.records.database import open_records
from vision.records.readings import reading

SAMPLE = ROOT / "samples" / "photos" / "k-file-25-flat.jpg"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    with running(tmp_path_factory.mktemp("flow") / "records") as opened:
        yield opened


@pytest.fixture
def client(desk: Running) -> Iterator[http.Client]:
    with http.Client(base_url=desk.address, timeout=240, follow_redirects=True) as opened:
        opened.headers["x-flutegauge-token"] = opened.get("/api/token").json()["token"]
        yield opened


def measured(client: http.Client, name: str, data: bytes, **form: Any) -> Any:
    answer = client.post("/api/measure", files={"photos": (name, data)}, data=form)
    assert answer.status_code == 200, answer.text
    return answer.json()


def with_tag(number: int) -> bytes:
    """The sample photo with a printed tag of 8 mm laid on the table beside the sheet, 40 px/mm."""
    document = pypdfium2.PdfDocument(tags_pdf([Label("K-7", number)], speaker(catalogue())))
    printed = np.squeeze(document[0].render(scale=40 * 25.4 / 72, grayscale=True).to_numpy())
    document.close()
    seen = find_tags(printed)
    assert [tag["number"] for tag in seen] == [number]
    corners = np.array(seen[0]["corners_px"])
    left, top = (corners.min(axis=0) - 60).astype(int)
    right, bottom = (corners.max(axis=0) + 60).astype(int)
    with Image.open(SAMPLE) as photo:
        laid, exif = photo.convert("RGB"), photo.getexif()
    laid.paste(Image.fromarray(np.minimum(printed[top:bottom, left:right], 215)), (3350, 1450))
    target = io.BytesIO()
    laid.save(target, "JPEG", quality=92, exif=exif)
    return target.getvalue()


def test_a_tag_in_the_photo_names_the_instrument(client: http.Client, desk: Running, tmp_path: Path) -> None:
    client.post("/api/instruments", json={"code": "K-7", "family": "k-file", "size": 25})
    token = client.headers["x-flutegauge-token"]
    printed = client.post("/tags", data={"token": token, "codes": "K-7"})
    (tmp_path / "tags.pdf").write_bytes(printed.content)

    document = measured(client, "tagged.jpg", with_tag(0), held="true")

    read = [(one["family"]["value"], one["size"]["value"]) for one in document["photos"][0]["instruments"]]
    assert ("k-file", 25) in read
    life = client.get("/api/instruments/K-7").json()["timeline"]
    assert [entry["kind"] for entry in life] == ["added", "reading"]
    assert "This is instrument K-7" in client.get(f"/readings/1/{1 + read.index(('k-file', 25))}", headers={"accept": "text/html"}).text
    with open_records(desk.folder) as records:
        assert [tag["number"] for tag in reading(records, 1).settings["tags"]] == [0]


def test_an_old_reading_is_read_again_and_compared(client: http.Client, desk: Running) -> None:
    first = measured(client, "grey.jpg", shot(), px_per_mm="60")
    number = client.get("/api/readings", params={"text": "grey"}).json()["hits"][0]["reading_id"]
    with open_records(desk.folder) as records:
        before = reading(records, number)

    job = client.post(f"/readings/{number}/again", data={"token": client.headers["x-flutegauge-token"]})
    name = job.url.path.rpartition("/")[2]
    while client.get(f"/api/jobs/{name}").json()["state"] in ("waiting", "reading"):
        time.sleep(0.05)

    again = client.get(f"/api/jobs/{name}").json()["readings"][0]
    with open_records(desk.folder) as records:
        after = reading(records, again)
        assert reading(records, number) == before
    assert after.read_again_of == number
    assert after.document == before.document == first
    assert after.settings["px_per_mm"] == 60.0
    assert client.get(f"/compare/{number}/{again}", headers={"accept": "text/html"}).status_code == 200
