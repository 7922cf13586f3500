"""Stage 2h: camera profiles as plain TOML files, one a camera, in the folder 'cameras' of the user's settings."""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs

from vision.camera_profile import NAMES, CameraKey, CameraProfile
from vision.errors import UsageError
from vision.quantity import Quantity

FORMAT = "flutegauge-camera/1"
ENDING = ".camera.toml"
HEAD = """\
# A camera as its own photos of the scale sheet show it. u: standard uncertainty (k = 1). Readable, not meant to be edited.
"""


def folder() -> Path:
    """Where profiles are kept unless a file is named."""
    return platformdirs.user_config_path("flutegauge", appauthor=False) / "cameras"


def profile_text(profile: CameraProfile) -> str:
    """The whole file."""
    lines = [HEAD + f"format = {_toml(FORMAT)}"]
    lines += [f"name = {_toml(profile.name)}", f"made_on = {profile.made_on.isoformat()}"]
    lines += [f"made_by = {_toml(profile.made_by)}", f"advice = {_toml(list(profile.advice))}", "", "[camera]"]
    for name in ("make", "model", "lens", "focal_mm", "f35_mm", "digital_zoom"):
        value = getattr(profile.key, name)
        lines += [f"{name} = {_toml(value)}"] if value is not None else []
    lines += [
        f"picture_px = {_toml(list(profile.key.size_px))}",
        f"landscape = {_toml(profile.landscape)}",
        "",
        "[lens]",
    ]
    lines += [f"at_px_per_mm = {_toml(profile.at_px_per_mm)}"]
    for name in NAMES:
        quantity: Quantity = getattr(profile, name)
        lines += [f"{name} = {_toml(quantity.value)}", f"{name}_u = {_toml(quantity.u)}"]
    rows = ",\n".join("  " + _toml(list(row)) for row in profile.correlation)
    lines += [f"correlation = [ # in this order: {', '.join(NAMES)}\n{rows},\n]", "", "[made_from]"]
    lines += [f"photos = {_toml(list(profile.photos))}", f"saddles = {profile.saddles}"]
    lines += [f"residual_px = {_toml(profile.residual_px)}", f"print_checked = {_toml(profile.print_checked)}"]
    lines += [f"px_per_mm = {_toml(list(profile.px_per_mm_range))}"]
    return "\n".join(lines) + "\n"


def read_profile(path: Path) -> CameraProfile:
    """Read one profile. Raises UsageError in one sentence for anything but a whole one."""
    try:
        whole = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise UsageError(f"found no camera profile {path}: 'flutegauge camera list' names those kept") from None
    except (OSError, ValueError, RecursionError) as error:
        raise UsageError(f"camera profile {path} cannot be read ({error}): make it anew") from error
    if whole.get("format") != FORMAT:
        found = whole.get("format", "none")
        raise UsageError(f"{path} is of format {found}, needs {FORMAT}: name a file that 'flutegauge camera' made")
    try:
        return _profile(whole)
    except (KeyError, TypeError, ValueError, IndexError) as error:
        reason = f"no field {error}" if isinstance(error, KeyError) else str(error)
        raise UsageError(f"camera profile {path} is damaged ({reason}): make it anew") from error


def kept_profiles(place: Path | None = None) -> tuple[tuple[Path, CameraProfile], ...]:
    """Every profile of the folder, by file name. Raises UsageError for a damaged one."""
    where = place or folder()
    return tuple((path, read_profile(path)) for path in sorted(where.glob(f"*{ENDING}")))


def _profile(whole: dict[str, Any]) -> CameraProfile:
    camera, lens, source = whole["camera"], whole["lens"], whole["made_from"]
    correlation = np.asarray(lens["correlation"], dtype=float)
    if correlation.shape != (5, 5) or not np.allclose(correlation, correlation.T, atol=1e-6):
        raise ValueError("correlation is no symmetric 5 × 5 table")
    if np.linalg.eigvalsh(correlation).min() < -1e-6 or not np.allclose(np.diag(correlation), 1.0, atol=1e-6):
        raise ValueError("correlation is no table of correlations")
    quantities = {name: Quantity(float(lens[name]), float(lens[f"{name}_u"])) for name in NAMES}
    if quantities["focal_px"].value <= 0.0 or float(lens["at_px_per_mm"]) <= 0.0:
        raise ValueError("focal_px and at_px_per_mm must be above 0")
    made_on = whole["made_on"]
    if not isinstance(made_on, dt.date):
        raise TypeError("made_on is no date")
    wide, high = (int(v) for v in camera["picture_px"])
    low, upper = (float(v) for v in source["px_per_mm"])
    text = {name: camera.get(name) for name in ("make", "model", "lens")}
    number: dict[str, Any] = {name: float(camera[name]) if name in camera else None for name in ("focal_mm", "f35_mm", "digital_zoom")}
    return CameraProfile(
        name=str(whole["name"]),
        key=CameraKey(**text, **number, size_px=(wide, high)),
        made_on=made_on,
        made_by=str(whole["made_by"]),
        at_px_per_mm=float(lens["at_px_per_mm"]),
        correlation=tuple(tuple(float(v) for v in row) for row in correlation),
        landscape=bool(camera["landscape"]),
        residual_px=float(source["residual_px"]),
        photos=tuple(str(v) for v in source["photos"]),
        saddles=int(source["saddles"]),
        px_per_mm_range=(low, upper),
        print_checked=bool(source["print_checked"]),
        advice=tuple(str(v) for v in whole["advice"]),
        **quantities,
    )


def _toml(value: Any) -> str:
    """A TOML value: JSON's spelling of text, numbers, truth and lists is TOML's too (TOML 1.0)."""
    if isinstance(value, float):
        return repr(round(value, 9))
    if isinstance(value, list):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    return json.dumps(value, ensure_ascii=False)
