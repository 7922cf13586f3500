"""Says in one sentence which library is missing, and how to get it."""

from __future__ import annotations

SYSTEM_LIBRARIES = ("libGL.so", "libgthread-2.0.so", "libglib-2.0.so")
APT_LINE = "apt-get install -y libgl1 libglib2.0-0"


def missing(error: ImportError) -> str:
    """Return what to do about an import that failed: a system library that OpenCV needs, or a Python package."""
    reason = str(error)
    found = next((name for name in SYSTEM_LIBRARIES if name in reason), None)
    if found:
        library = reason.partition(":")[0].strip()
        return (
            f"the operating system lacks the library {library}, which OpenCV needs: "
            f"on Debian or Ubuntu run '{APT_LINE}', then try again"
        )
    return f"a part of the programme cannot be loaded ({reason}): install flutegauge again with pip"
