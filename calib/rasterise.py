"""Samples any part of a PDF page at any scale, placed to a fraction of a pixel."""

import ctypes

import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
from numpy.typing import NDArray

POINTS_PER_MM = 72 / 25.4


def rasterise(pdf: bytes, *, x0_mm: float, y0_mm: float, shape: tuple[int, int], px_per_mm: float) -> NDArray[np.uint8]:
    """Grey picture, `shape` = (rows, columns), of the first page of `pdf`; 0 is black, 255 paper.

    The top-left corner of pixel (0, 0) lies at (x0_mm, y0_mm), so the centre of column k at x0_mm + (k + 0.5) /
    px_per_mm. Grey is the share of a pixel that ink covers, in 1/255, so linear in reflectance between black and
    white. What lies off the page is white. The
    renderer behind it is not made for several threads at once.
    """
    document = pypdfium2.PdfDocument(pdf)
    try:
        page = document[0]
        bitmap = pypdfium2.PdfBitmap.new_native(shape[1], shape[0], pdfium.FPDFBitmap_Gray)
        bitmap.fill_rect((255, 255, 255, 255), 0, 0, shape[1], shape[0])
        matrix = _page_to_pixels(x0_mm, y0_mm, px_per_mm)
        clip = pdfium.FS_RECTF(0.0, 0.0, float(shape[1]), float(shape[0]))
        pdfium.FPDF_RenderPageBitmapWithMatrix(bitmap, page, ctypes.byref(matrix), ctypes.byref(clip), 0)
        return np.array(bitmap.to_numpy(), dtype=np.uint8).reshape(shape)
    finally:
        document.close()


def _page_to_pixels(x0_mm: float, y0_mm: float, px_per_mm: float) -> pdfium.FS_MATRIX:
    """The matrix that the renderer asks for: from points, y down from the page's top-left corner, to pixels."""
    scale = px_per_mm / POINTS_PER_MM
    return pdfium.FS_MATRIX(scale, 0.0, 0.0, scale, -x0_mm * px_per_mm, -y0_mm * px_per_mm)
