"""What one run of the desk shares with phones on the local network: where, and who was let in."""

from __future__ import annotations

import socket
from dataclasses import dataclass, field

import cv2

from vision.desk.pairing import Pairing
from vision.errors import UsageError

USUAL_PORT = 8766
NOWHERE = "192.0.2.1"  # TEST-NET-1, RFC 5737: asked for the way there only, nothing is sent


@dataclass(frozen=True)
class Share:
    """The address that phones open, and the pairing."""

    host: str
    port: int
    pairing: Pairing = field(default_factory=Pairing)

    @property
    def address(self) -> str:
        """Where phones go."""
        return f"http://{self.host}:{self.port}/"


def listen(asked: str) -> socket.socket:
    """Return a socket on one address of this computer ('auto': the one on the local network). Raises UsageError."""
    host = own_address() if asked == "auto" else asked
    for port in (USUAL_PORT, 0):
        listener = socket.socket()
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, port))
        except OSError as error:
            listener.close()
            why = error
            continue
        listener.listen(16)
        return listener
    raise UsageError(f"--share {host}: cannot listen there ({why.strerror}): name an address of this computer on the local network")


def own_address() -> str:
    """This computer's address on the local network. Raises UsageError where there is none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect((NOWHERE, 9))
            return str(asked.getsockname()[0])
        except OSError as error:
            raise UsageError(
                "--share found no local network: connect this computer to it, or name its address: --share ADDRESS"
            ) from error


def squares(text: str) -> tuple[int, str]:
    """A QR code of a text as an SVG path of unit squares, and its side with the quiet zone of four (ISO/IEC 18004, from memory)."""
    code = cv2.QRCodeEncoder.create().encode(text)
    rows = [(x, y) for y, row in enumerate(code) for x, value in enumerate(row) if value == 0]
    quiet = 4 - min(x for x, _ in rows)
    path = "".join(f"M{x + quiet} {y + quiet}h1v1h-1z" for x, y in rows)
    return max(x for x, _ in rows) + quiet + 5, path
