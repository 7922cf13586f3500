"""A scene for other renderers: meshes, a sheet picture, an environment map and the numbers that tie them together.

World of the export: X right, Y UP the page, Z toward the camera, mm; right-handed (the sheet's own Y, which grows down
the page, is negated).
"""

import json
from os import PathLike
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from samples.arrays import CPU, Floats
from samples.bodies import Placed
from samples.light import Light
from samples.mesh import mesh, turned_mesh
from samples.scene import Scene
from samples.stage import set_stage

FLIP = np.array([1.0, -1.0, 1.0])


def export(scene: Scene, folder: str | PathLike[str]) -> dict[str, Any]:
    """Write the scene into `folder` and return what scene.json holds.

    metal-N.ply, handle-N.ply, stop-N.ply: closed meshes in the export's world. sheet.png: reflectance of the part of
    the sheet in view, 16-bit linear, with its corners in scene.json. environment.npy: float32, 256 x 512 x 3 radiance,
    row 0 looking up (+Z), column 0 along +X, azimuth growing toward +Y of the export's world; black below the horizon.
    """
    out = Path(folder)
    out.mkdir(parents=True, exist_ok=True)
    stage = set_stage(scene, CPU)
    numbers: dict[str, Any] = {"instruments": [], "camera": _camera(scene), "blocker": None}
    for n, one in enumerate(stage.placed):
        numbers["instruments"].append(_solids(one, out, n))
    texture = stage.texture
    reflectance = np.clip(texture.reflectance(texture.white_share), 0.0, 1.0)
    cv2.imwrite(str(out / "sheet.png"), (reflectance[..., ::-1] * 65535.0).astype(np.uint16))
    rows, cols = texture.white_share.shape
    sx, sy = scene.paper.print_scale
    x0, y0 = texture.x0_mm * sx, texture.y0_mm * sy
    x1, y1 = x0 + cols / texture.px_per_mm * sx, y0 + rows / texture.px_per_mm * sy
    numbers["sheet"] = {"x_mm": [x0, x1], "y_mm": [-y0, -y1], "first_row_at": "y_mm[0]"}
    np.save(out / "environment.npy", environment(scene.light))
    if scene.blocker is not None:
        b = scene.blocker
        numbers["blocker"] = {
            "centre_mm": [b.centre_mm[0], -b.centre_mm[1], b.height_mm],
            "turn_deg": -b.turn_deg,
            "half_size_mm": list(b.half_size_mm),
            "radiance": list(b.rgb),
        }
    (out / "scene.json").write_text(json.dumps(numbers, indent=1) + "\n")
    return numbers


def environment(light: Light, rows: int = 256) -> Floats:
    """Radiance of the room as an equirectangular map, rows x 2 rows x 3, float32 (see `export`)."""
    polar = (np.arange(rows) + 0.5) / rows * np.pi
    azimuth = (np.arange(2 * rows) + 0.5) / rows * np.pi
    up = np.cos(polar)[:, None] * np.ones_like(azimuth)
    x, y = np.sin(polar)[:, None] * np.cos(azimuth), np.sin(polar)[:, None] * np.sin(azimuth)
    table = light.radiance(np.stack([x, -y, up], -1))
    return np.asarray(np.where(up[..., None] > 0, table, 0.0), np.float32)


def _camera(scene: Scene) -> dict[str, Any]:
    camera = scene.camera
    right, down, forward = (row * FLIP for row in camera.rotation)
    return {
        "position_mm": (camera.position * FLIP).tolist(),
        "right": right.tolist(),
        "down": down.tolist(),
        "forward": forward.tolist(),
        "focal_px": camera.focal_px,
        "size_px": [camera.width_px, camera.height_px],
        "aperture_mm": camera.focal_mm / camera.f_number,
        "sharp_at_mm": camera.z_mm - camera.focus_height_mm,
        "k1": camera.k1,
    }


def _solids(one: Placed, out: Path, n: int) -> dict[str, Any]:
    """Write the meshes of one instrument; returns its materials."""
    instrument = one.instrument
    vertices, faces = mesh(instrument, 0.02, 360)
    _write_ply(out / f"metal-{n}.ply", one, vertices, faces)
    _write_ply(
        out / f"handle-{n}.ply", one, *turned_mesh(instrument.handle.profile, instrument.length_mm, line=one.line)
    )
    finish = instrument.finish
    told: dict[str, Any] = {
        "f0": list(finish.f0),
        "alpha": finish.alpha,
        "handle": list(instrument.handle.rgb),
        "stop": None,
    }
    if instrument.stop is not None:
        stop = instrument.stop
        r, e, thick = stop.diameter_mm / 2, 0.12, stop.thickness_mm
        profile = ((0.0, r - e), (e, r), (thick - e, r), (thick, r - e))
        _write_ply(out / f"stop-{n}.ply", one, *turned_mesh(profile, stop.from_tip_mm, line=one.line))
        told["stop"] = list(stop.rgb)
    return told


def _write_ply(path: Path, one: Placed, vertices: Floats, faces: Floats) -> None:
    """Binary PLY, mm. Faces point outward in real space; negating Y turns sheet coordinates into a right-handed world."""
    points = (one.pose.to_sheet(vertices) * FLIP).astype("<f4")
    head = (
        f"ply\nformat binary_little_endian 1.0\nelement vertex {len(points)}\n"
        "property float x\nproperty float y\nproperty float z\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    rows = np.empty(len(faces), [("n", "u1"), ("i", "<i4", 3)])
    rows["n"], rows["i"] = 3, faces
    path.write_bytes(head.encode() + points.tobytes() + rows.tobytes())
