"""Who may send photos from another device: a one-time code, tried a few times at most, then a session of its own.

A code has 10 of 32 signs (50 bits), lives five minutes, opens one session and is gone. Ten wrong ones in all, whoever sent them, and
no code is taken until the person at the desk asks for a new one; so at best 10 of 2^50 codes are tried.
"""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

SIGNS = "ABCDEFGHJKMNPQRSTVWXYZ0123456789"  # without I, L, O and U, which are misread
CODE_SIGNS = 10
CODE_S, SESSION_S = 300.0, 3600.0
MOST_WRONG = 10
MOST_SESSIONS = 4
PHOTOS_A_MINUTE = 12

Outcome = Literal["paired", "wrong", "expired", "locked"]


@dataclass
class Session:
    """One paired device: until when, the token of its forms, when it sent photos, and the jobs that read them."""

    until: float
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    sent: list[float] = field(default_factory=list)
    jobs: list[str] = field(default_factory=list)


class Pairing:
    """The code that holds now and the devices that were let in."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._lock = clock, threading.Lock()
        self._code, self._until, self._wrong = "", 0.0, 0
        self._sessions: dict[str, Session] = {}
        self.on = True
        self.on_stop: list[Callable[[], None]] = []

    def new_code(self) -> str:
        """Make a code; the one before it is void, and wrong ones count anew."""
        with self._lock:
            self._code = "".join(secrets.choice(SIGNS) for _ in range(CODE_SIGNS))
            self._until, self._wrong = self._clock() + CODE_S, 0
            return self._code

    def code(self) -> tuple[str, float] | None:
        """Return the code that holds and how many seconds it still does; None where there is none."""
        with self._lock:
            left = self._until - self._clock()
            return (self._code, left) if self.on and self._code and left > 0 else None

    @property
    def locked(self) -> bool:
        """Whether too many wrong codes were tried."""
        return self._wrong >= MOST_WRONG

    def pair(self, typed: str) -> tuple[Outcome, str]:
        """Try a code; returns the outcome and, when it was right, the new session's key. A right code is used up."""
        asked = "".join(sign for sign in typed.upper() if sign.isalnum())
        with self._lock:
            if not self.on or self.locked:
                return "locked", ""
            held, self_until = self._code, self._until
            right = bool(held) and secrets.compare_digest(asked.encode(), held.encode())
            if not right:
                self._wrong += 1
                return ("locked" if self.locked else "wrong"), ""
            self._code = ""
            if self._clock() >= self_until:
                return "expired", ""
            key = secrets.token_urlsafe(32)
            while len(self._sessions) >= MOST_SESSIONS:
                del self._sessions[next(iter(self._sessions))]
            self._sessions[key] = Session(self._clock() + SESSION_S)
            return "paired", key

    def session(self, key: str | None) -> Session | None:
        """Return a session that still holds."""
        with self._lock:
            found = self._sessions.get(key or "")
            return found if self.on and found is not None and self._clock() < found.until else None

    def may_send(self, session: Session, photos: int) -> bool:
        """Count photos in; False when a device sends more a minute than anybody takes."""
        with self._lock:
            now = self._clock()
            session.sent = [at for at in session.sent if now - at < 60.0]
            if len(session.sent) + photos > PHOTOS_A_MINUTE:
                return False
            session.sent += [now] * photos
            return True

    def devices(self) -> int:
        """Return how many devices are let in now."""
        with self._lock:
            return sum(self._clock() < one.until for one in self._sessions.values()) if self.on else 0

    def stop(self) -> None:
        """Let nobody in any more, this run of the desk."""
        with self._lock:
            self.on, self._code = False, ""
            self._sessions.clear()
        for told in self.on_stop:
            told()
