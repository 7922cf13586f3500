"""`flutegauge desk`: start the local page, on this computer only, and open the browser."""

from __future__ import annotations

import argparse
import logging
import logging.handlers
import socket
import sys
import threading
import webbrowser
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from vision.desk.app import make_app
from vision.desk.phone_app import make_phone_app
from vision.desk.settings import Desk
from vision.desk.share import Share, listen
from vision.desk.wording import catalogue
from vision.errors import UsageError
from vision.records.database import default_folder, open_records
from vision.records.faults import RecordsError

FINE, FAILED = 0, 1
HOST = "127.0.0.1"
USUAL_PORT = 8765
MOST_PHONES_AT_ONCE = 24
MOST_AT_ONCE = 100  # connections; a browser opens six
LOG_BYTES, LOGS = 500_000, 3


def desk(arguments: argparse.Namespace) -> int:
    """Run until interrupted; return the exit status. Raises UsageError for a port or folder that cannot be."""
    folder = arguments.data or default_folder()
    words = catalogue(arguments.words)
    try:
        with open_records(folder):
            pass
    except RecordsError as error:
        print(f"flutegauge: {error.message}", file=sys.stderr)
        return FAILED
    listener = _listen(arguments.port)
    port = listener.getsockname()[1]
    _log_into(folder)
    opened = None if arguments.share is None else listen(arguments.share)
    share = None if opened is None else Share(*opened.getsockname()[:2])
    app = make_app(Desk(folder, port, words, share=share))
    address = f"http://{HOST}:{port}/"
    print(f"The desk is open at {address} (this computer only). Records: {folder}. Ctrl+C closes it.", flush=True)
    phones = None if opened is None or share is None else _share(opened, app, share)
    if not arguments.no_browser:
        threading.Timer(0.5, webbrowser.open, (address,)).start()
    server = uvicorn.Server(
        uvicorn.Config(
            app, log_config=None, access_log=False, server_header=False, timeout_graceful_shutdown=3, limit_concurrency=MOST_AT_ONCE
        )
    )
    server.run([listener])
    if phones is not None:
        phones.should_exit = True
    return FINE


def _share(listener: socket.socket, app: FastAPI, share: Share) -> uvicorn.Server:
    """Serve phones from a thread of their own: another application on another socket, so no page of the desk is there."""
    share.pairing.new_code()
    config = uvicorn.Config(
        make_phone_app(app.state.desk, share), log_config=None, access_log=False, server_header=False,
        timeout_graceful_shutdown=1, limit_concurrency=MOST_PHONES_AT_ONCE,
    )  # fmt: skip
    server = uvicorn.Server(config)
    share.pairing.on_stop.append(lambda: setattr(server, "should_exit", True))
    threading.Thread(target=server.run, args=([listener],), name="phones", daemon=True).start()
    print(f"Sharing is on at {share.address}: the page 'Phone' shows the code. Not encrypted; Ctrl+C or the page ends it.", flush=True)
    return server


def _listen(port: int | None) -> socket.socket:
    """Return a socket on loopback: the port asked for, else the usual one, else any free one. Raises UsageError."""
    if port is not None and not 0 <= port <= 65535:
        raise UsageError(f"--port needs a number from 0 (any free one) to 65535, got {port}")
    for wanted in [port] if port is not None else [USUAL_PORT, 0]:
        listener = socket.socket()
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((HOST, wanted))
        except OSError:
            listener.close()
            continue
        listener.listen(64)  # so that whoever reads the address may connect at once
        return listener
    raise UsageError(f"port {port} is taken, perhaps by a desk that is open already: close it, or name another --port")


def _log_into(folder: Path) -> None:
    """Log what was asked for (patterns, no names or codes), how it ended and how long it took; nothing about people."""
    handler = logging.handlers.RotatingFileHandler(
        folder / "desk.log", maxBytes=LOG_BYTES, backupCount=LOGS, encoding="utf-8"
    )
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    own = logging.getLogger("flutegauge.desk")
    own.setLevel(logging.INFO)
    own.addHandler(handler)
    own.propagate = False
