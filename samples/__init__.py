"""Rendered photos of root-canal hand instruments on the printed sheet, with exact truth. Every scene is invented."""

from samples.photo import save, write
from samples.render import render
from samples.scene import Laid, Scene

__all__ = ["Laid", "Scene", "render", "save", "write"]
