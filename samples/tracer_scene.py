"""A staged scene in the path tracer's terms: shapes with materials, the room as an environment map, lamps below.

The materials are the tracer's own (microfacet conductor with the exact Fresnel formula and masking, rough dielectric on
a diffuse base); they share only roughness and reflectance with this project's shading.
"""

from dataclasses import replace
from typing import Any

import numpy as np

from calib.sheet import sheet_named
from samples.arrays import Floats
from samples.bodies import Placed
from samples.export import environment
from samples.light import Backlight, Blocker, Light, Rgb
from samples.stage import Stage
from samples.tracer_engine import engine
from samples.tracer_solids import FLIP, Triangles, metal_of, sheet_of, stop_profile, turned

ETA = 2.75
"""Refractive index given to the metal; the absorption follows from its reflectance (steel is near 2.5 to 2.9)."""

PLASTIC_ALPHA, GLOSS_ALPHA = 0.09, 0.05
SKY_ROWS = 512
TABLE_STEP_MM = 0.1
FAR_MM = 600.0


def world_origin(stage: Stage) -> Floats:
    """The sheet point (3, mm) at the origin of the tracer's world."""
    return np.array([*stage.scene.camera.target_mm, 0.0])


def build(stage: Stage) -> Any:
    """The scene, loaded into the path tracer."""
    mi, scene, origin = engine(), stage.scene, world_origin(stage)
    parts: dict[str, Any] = {"type": "scene", "sky": _sky(scene.light)}
    for n, one in enumerate(stage.placed):
        for k, (triangles, material) in enumerate(_solids(one, origin)):
            parts[f"solid-{n}-{k}"] = _shape(triangles, material)
    parts["sheet"] = _sheet(stage, origin)
    parts |= _below(stage, origin) if scene.light.backlight is None else _lit_below(scene.light.backlight, origin)
    if scene.blocker is not None:
        parts["camera-body"] = _camera_body(scene.blocker, origin)
    return mi.load_dict(parts)


def _solids(one: Placed, origin: Floats) -> list[tuple[Triangles, dict[str, Any]]]:
    instrument = one.instrument
    steel = conductor(instrument.finish.f0, instrument.finish.alpha)
    out = [(part, steel) for part in metal_of(one, origin)]
    handle = instrument.handle
    out.append((turned(one, handle.profile, instrument.length_mm, origin), _plastic(handle.rgb, 1.0, PLASTIC_ALPHA)))
    if instrument.stop is not None:
        stop = instrument.stop
        profile = stop_profile(stop.diameter_mm, stop.thickness_mm)
        out.append((turned(one, profile, stop.from_tip_mm, origin), _plastic(stop.rgb, 0.4, PLASTIC_ALPHA)))
    return out


def conductor(f0: Rgb, alpha: float) -> dict[str, Any]:
    """Rough metal of reflectance `f0` at normal incidence: k^2 = (f0 (n + 1)^2 - (n - 1)^2) / (1 - f0)."""
    level = np.array(f0)
    k2 = np.maximum(level * (ETA + 1) ** 2 - (ETA - 1) ** 2, 0.0) / np.maximum(1.0 - level, 1e-3)
    absorbed = {"type": "rgb", "value": np.sqrt(k2).tolist()}
    bent = {"type": "rgb", "value": [ETA] * 3}
    return {"type": "roughconductor", "distribution": "ggx", "alpha": max(alpha, 0.001), "eta": bent, "k": absorbed}


def _plastic(rgb: Rgb, gloss: float, alpha: float) -> dict[str, Any]:
    base = {"type": "rgb", "value": under_coat(np.array(rgb)).tolist()}
    return {
        "type": "roughplastic",
        "distribution": "ggx",
        "alpha": alpha,
        "int_ior": 1.5,
        "nonlinear": True,
        "specular_reflectance": gloss,
        "diffuse_reflectance": base,
    }


def under_coat(reflectance: Floats) -> Floats:
    """Reflectance of the base that shows `reflectance` through a smooth coat of n = 1.5, seen and lit from above: 4 %
    lost at each passage, 59.6 % of what comes from below thrown back (diffuse Fresnel integrals).
    """
    return np.asarray(2.25 * reflectance / (0.9216 + 0.596 * 2.25 * reflectance))


def _shape(triangles: Triangles, material: dict[str, Any], emitter: dict[str, Any] | None = None) -> Any:
    mi = engine()
    props = mi.Properties()
    props["bsdf"] = mi.load_dict(material)
    if emitter is not None:
        props["emitter"] = mi.load_dict(emitter)
    smooth, mapped = triangles.normals is not None, triangles.uv is not None
    props["face_normals"] = not smooth
    shape = mi.Mesh("triangles", len(triangles.vertices), len(triangles.faces), props, smooth, mapped)
    table = mi.traverse(shape)
    table["vertex_positions"] = mi.Float(np.ascontiguousarray(triangles.vertices, np.float32).ravel())
    table["faces"] = mi.UInt32(np.ascontiguousarray(triangles.faces, np.uint32).ravel())
    if triangles.normals is not None:
        table["vertex_normals"] = mi.Float(np.ascontiguousarray(triangles.normals, np.float32).ravel())
    if triangles.uv is not None:
        table["vertex_texcoords"] = mi.Float(np.ascontiguousarray(triangles.uv, np.float32).ravel())
    table.update()
    return shape


def _texture(table: Floats) -> dict[str, Any]:
    bitmap = engine().Bitmap(np.ascontiguousarray(table, np.float32))
    return {"type": "bitmap", "bitmap": bitmap, "raw": True, "wrap_mode": "clamp"}


def _sky(light: Light) -> dict[str, Any]:
    """The room; the exported map turned into the tracer's own convention (pole along its Y, seen from inside)."""
    mi = engine()
    turn = np.array([[0.0, 0, -1, 0], [-1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]])
    table = np.ascontiguousarray(environment(light, SKY_ROWS)[:, ::-1])
    return {"type": "envmap", "bitmap": mi.Bitmap(table), "to_world": mi.ScalarTransform4f(turn)}


def _sheet(stage: Stage, origin: Floats) -> Any:
    """The printed sheet with its holes; beyond the part that was drawn its border goes on, as in our own mirrors."""
    texture, paper, glow = stage.texture, stage.scene.paper, np.array(stage.scene.light.glow)
    page = sheet_named(stage.scene.sheet)
    rows, cols = texture.white_share.shape
    x0, y0 = texture.x0_mm, texture.y0_mm
    box = (x0, y0, x0 + cols / texture.px_per_mm, y0 + rows / texture.px_per_mm)
    reflectance = np.clip(texture.reflectance(texture.white_share), 0.0, 1.0)
    emitter = None
    if glow.any():
        shining = glow * (0.08 + 0.92 * texture.white_share)[..., None]
        emitter = {"type": "area", "radiance": _texture(shining)}
    material = _paper(_texture(under_coat(reflectance) if paper.kind != "matt" else reflectance), paper.kind)
    return _shape(sheet_of(paper, (page.width_mm, page.height_mm), box, origin), material, emitter)


def _paper(reflectance: dict[str, Any], kind: str) -> dict[str, Any]:
    if kind == "matt":
        return {"type": "diffuse", "reflectance": reflectance}
    if kind == "laminated":
        return {"type": "plastic", "int_ior": 1.5, "nonlinear": True, "diffuse_reflectance": reflectance}
    coat = {"type": "roughplastic", "alpha": GLOSS_ALPHA, "int_ior": 1.5, "nonlinear": True}
    return coat | {"diffuse_reflectance": reflectance}


def _below(stage: Stage, origin: Floats) -> dict[str, Any]:
    """The table under the sheet, far enough down that no handle dips into it. In a slot it lies in the shade that the
    path tracer finds by itself; beyond a cut edge it stands for a floor farther down, darkened as our own picture has it.
    """
    texture, scale = stage.texture, np.array(stage.scene.paper.print_scale)
    if stage.scene.paper.cut_at_mm is None:
        texture = replace(texture, paper=replace(texture.paper, slot_mm=None))
    rows, cols = texture.white_share.shape
    low = np.array([texture.x0_mm, texture.y0_mm]) * scale
    high = low + np.array([cols, rows]) / texture.px_per_mm * scale
    count = np.ceil((high - low) / TABLE_STEP_MM).astype(int) + 2
    x, y = (np.linspace(a, b, n) for a, b, n in zip(low, high, count, strict=True))
    table = texture.table_reflectance(*np.meshgrid(x, y))
    lowest = min([0.0, *(_lowest(one) for one in stage.placed)]) - 0.05
    middle = (np.array([*((low + high) / 2), lowest]) - origin) * FLIP
    near = _level(middle, (high - low) / 2, {"type": "diffuse", "reflectance": _texture(table[::-1])})
    grey = {"type": "rgb", "value": table.mean((0, 1)).tolist()}
    far = _level(middle - [0, 0, 0.02], np.array([FAR_MM, FAR_MM]), {"type": "diffuse", "reflectance": grey})
    return {"table": near, "table-round": far}


def _lowest(one: Placed) -> float:
    length = one.instrument.length_mm
    ends = one.axis_points(np.array([length, length + one.instrument.handle.length_mm]))
    return float(ends[:, 2].min()) - one.instrument.handle.diameter_mm / 2


def _lit_below(patch: Backlight, origin: Floats) -> dict[str, Any]:
    centre = (np.array([*patch.centre_mm, -patch.depth_mm]) - origin) * FLIP
    return {
        "patch": _lamp(centre, np.array(patch.half_size_mm), patch.rgb),
        "dark-below": _lamp(centre - [0, 0, 0.5], np.array([FAR_MM, FAR_MM]), patch.dark, 0.0),
    }


def _lamp(centre: Floats, half: Floats, rgb: Rgb, weight: float = 1.0) -> dict[str, Any]:
    """A level rectangle that shines upward; `weight`: how often it is aimed at (0: only met by chance, also exact)."""
    light = {"type": "area", "radiance": {"type": "rgb", "value": list(rgb)}, "sampling_weight": weight}
    return _level(centre, half, _black()) | {"emitter": light}


def _black() -> dict[str, Any]:
    return {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}


def _level(centre: Floats, half: Floats, material: dict[str, Any]) -> dict[str, Any]:
    transform = engine().ScalarTransform4f
    place = transform().translate(centre.tolist()).scale([float(half[0]), float(half[1]), 1.0])
    return {"type": "rectangle", "to_world": place, "bsdf": material}


def _camera_body(blocker: Blocker, origin: Floats) -> dict[str, Any]:
    """A rectangle with hard edges that faces the sheet and shines as faintly as the body looks."""
    transform = engine().ScalarTransform4f
    centre = (np.array([*blocker.centre_mm, blocker.height_mm]) - origin) * FLIP
    half = blocker.half_size_mm
    place = transform().translate(centre.tolist()).rotate([0, 0, 1], -blocker.turn_deg).rotate([1, 0, 0], 180.0)
    light = {"type": "area", "radiance": {"type": "rgb", "value": list(blocker.rgb)}, "sampling_weight": 0.0}
    return {
        "type": "rectangle",
        "to_world": place.scale([float(half[0]), float(half[1]), 1.0]),
        "bsdf": _black(),
        "emitter": light,
    }
