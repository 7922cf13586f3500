"""Writes a sheet as PDF or PNG, and gives any crop of it as an array: all through the same PDF."""

import math
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from calib.elements import Sheet
from calib.pdf_page import pdf_bytes
from calib.rasterise import rasterise

MM_PER_INCH = 25.4


def write_pdf(sheet: Sheet, path: str | PathLike[str]) -> None:
    """Write the sheet as a one-page vector PDF of exactly the paper's size."""
    Path(path).write_bytes(pdf_bytes(sheet))


def write_png(sheet: Sheet, path: str | PathLike[str], dpi: float = 600) -> None:
    """Write the whole page, edge to edge, as a grey PNG that states its resolution.

    The page is rounded to whole pixels at its right and lower edge; the scale stays dpi / 25.4 px/mm exactly. Raises
    ValueError outside 72 to 2400 dpi: below, the small codes are lost; above, the picture outgrows memory.
    """
    if not 72 <= dpi <= 2400:
        raise ValueError(f"dpi: 72 to 2400 can be written, {dpi:g} was asked: 600 suits most printers")
    picture = raster(sheet, 0.0, 0.0, sheet.width_mm, sheet.height_mm, dpi / MM_PER_INCH)
    Image.fromarray(picture).save(path, format="PNG", dpi=(dpi, dpi))


def raster(
    sheet: Sheet, x0_mm: float, y0_mm: float, x1_mm: float, y1_mm: float, px_per_mm: float
) -> NDArray[np.uint8]:
    """Grey picture (rows, columns) of the part of the page between two corners; 0 is black, 255 paper.

    Pixel k of a row has its centre at x0_mm + (k + 0.5) / px_per_mm, and so down the columns. Each pixel holds the
    share of paper in it. The far corner is rounded to whole pixels. The part may reach beyond the page, which shows
    white. Raises ValueError for an empty or upside-down part or a scale that is not positive.
    """
    if not (x1_mm > x0_mm and y1_mm > y0_mm and px_per_mm > 0 and math.isfinite(px_per_mm)):
        raise ValueError(
            f"raster needs x1_mm > x0_mm, y1_mm > y0_mm and px_per_mm > 0, "
            f"has x {x0_mm} to {x1_mm}, y {y0_mm} to {y1_mm}, px_per_mm {px_per_mm}"
        )
    shape = max(1, round((y1_mm - y0_mm) * px_per_mm)), max(1, round((x1_mm - x0_mm) * px_per_mm))
    return rasterise(pdf_bytes(sheet), x0_mm=x0_mm, y0_mm=y0_mm, shape=shape, px_per_mm=px_per_mm)
