"""The exported scene as an independent library reads it."""

import json

import numpy as np
import pytest
import trimesh

from samples.export import environment, export
from samples.light import Light
from samples.population import draw_macro


def test_exported_meshes_are_closed_and_face_outward(tmp_path):
    scene = draw_macro(3, "reamer", "free", 6.0, image_px=(240, 180))
    export(scene, tmp_path)
    numbers = json.loads((tmp_path / "scene.json").read_text())
    metal = trimesh.load(tmp_path / "metal-0.ply", process=False)
    laid = scene.laid[0]
    tip = laid.pose.origin * [1, -1, 1]

    assert metal.is_watertight
    assert metal.volume > 0  # a mirrored or inside-out mesh has a negative one
    assert np.min(np.linalg.norm(metal.vertices - tip, axis=1)) < 0.02
    # The camera's axes are a right-handed frame in the export's world, and it looks at the sheet.
    axes = np.array([numbers["camera"][name] for name in ("right", "down", "forward")])
    assert np.linalg.det(axes) == pytest.approx(1.0)
    assert axes[2, 2] < -0.98


def test_environment_map_carries_the_lights_irradiance():
    """A uniform sky of radiance 1 gives the irradiance pi on a level plane."""
    table = environment(Light("uniform", (1.0,) * 3, (1.0,) * 3, ()))
    polar = (np.arange(256) + 0.5) / 256 * np.pi
    weight = np.maximum(np.cos(polar), 0) * np.sin(polar) * (np.pi / 256) ** 2

    assert (table[..., 1] * weight[:, None]).sum() == pytest.approx(np.pi, rel=1e-3)
