"""Which cautions a tray's outputs carry: the short ones, and the one on broach sizes where a broach is in question."""

from __future__ import annotations

from collections.abc import Iterable

from vision.report.cautions import BROACH, SHORT
from vision.tray.kit import Kit
from vision.tray.told import Told

BROACHES = "barbed-broach"
LIKELY = 0.05


def cautions(told: Iterable[Told], kit: Kit | None = None) -> tuple[str, ...]:
    """The cautions beside what was told; ``kit``: the list it was compared with."""
    asked = kit is not None and any(item.family == BROACHES for item in kit.items)
    seen = any(one.family == BROACHES or one.family_shares.get(BROACHES, 0.0) >= LIKELY for one in told)
    return (*SHORT, BROACH) if asked or seen else SHORT
