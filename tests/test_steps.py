"""Where an edge lies to a fraction of a px, against scikit-image, closed forms and the Cramer-Rao bound."""

import numpy as np
import pytest
from scipy.stats import norm
from skimage.measure import find_contours

from vision.steps import beyond_background, just_outside, outermost, slope_map, step_height

ROWS, COLUMNS = 81, 400
UNSMOOTHED = 1e-3  # px along the axis: each column stands for itself
PAPER, METAL = 0.8, 0.15  # linear light


def strip(place, blur_px, *, paper=PAPER, metal=METAL, columns=COLUMNS):
    """Blurred steps from paper (row 0) to metal, in linear light: the edge of column i lies at row place[i]."""
    rows = np.arange(ROWS)[:, None]
    return paper + (metal - paper) * norm.cdf((rows - np.broadcast_to(place, columns)[None, :]) / blur_px)


def smoothing_px(blur_px):
    """Smoothing across the edge that suits a blur: a little less than the blur itself, and at least a px."""
    return max(0.8 * blur_px, 1.0)


def located(values, blur_px, *, along_px=UNSMOOTHED, threshold=0.01):
    """The outermost step: row and slope of the steepest place, as the edge stage puts it together."""
    spread = np.hypot(blur_px, smoothing_px(blur_px))
    slopes = beyond_background(slope_map(values, smoothing_px(blur_px), along_px), spread)
    return outermost(slopes, np.full(values.shape, threshold), max(round(3 * spread), 3))


def steepest_place_u(noise, blur_px, rows=1.0):
    """Closed form: u of the steepest place of a blurred step in white noise, seen through Gaussian derivatives.

    Noise in the second derivative over its slope at the edge; s the smoothing, b the blur:
    (sigma/C) sqrt(3/4 sqrt(pi) (s^2 + b^2)^3 / s^5). It exceeds the Cramer-Rao bound at every s, by 1.20 at best.
    """
    s = smoothing_px(blur_px)
    return noise / (PAPER - METAL) * np.sqrt(0.75 * np.sqrt(np.pi) * (s**2 + blur_px**2) ** 3 / s**5 / rows)


def half_level(values, level):
    """Row of the crossing of a level in every column, by scikit-image's marching squares."""
    lines = np.concatenate(find_contours(values, level))
    whole = lines[np.abs(lines[:, 1] - np.rint(lines[:, 1])) < 1e-6]
    order = np.argsort(whole[:, 1])
    columns, first = np.unique(np.rint(whole[order, 1]).astype(int), return_index=True)
    assert len(columns) == values.shape[1]
    return whole[order][first, 0]


def encoded(linear):
    """Linear light to sRGB code value, 0 to 1 (IEC 61966-2-1)."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0.0) ** (1 / 2.4) - 0.055)


@pytest.mark.parametrize("blur_px", [1.0, 1.5, 3.0])
@pytest.mark.parametrize("metal", [0.0, 0.15, 0.6, 1.0])
def test_an_edge_lies_where_a_general_library_finds_it(blur_px, metal):
    """In linear light an edge is found without bias: within 0.05 px of scikit-image's half level, dark metal or bright."""
    place = 40.0 + 6.0 * np.linspace(0.0, 1.0, COLUMNS) + np.linspace(0.0, 0.5, COLUMNS)
    values = strip(place, blur_px, metal=metal)
    row, _ = located(values, blur_px)
    reference = half_level(values, (PAPER + metal) / 2.0)

    assert np.abs(row - reference).max() < 0.05
    assert np.abs(row - place).max() < 0.05
    assert abs((row - place).mean()) < 0.005


@pytest.mark.parametrize("blur_px", [1.0, 1.5, 3.0])
def test_step_height_is_that_of_the_edge(blur_px):
    """The greatest slope, seen through a further smoothing, gives the step's whole height with its sign."""
    for place, short in ((40.0, 0.02), (40.5, 0.08)):  # a peak between two rows is read at the nearer: up to 7 % short
        _, slope = located(strip(place, blur_px), blur_px)
        height = step_height(slope, smoothing_px(blur_px), blur_px)
        assert (1.0 - short) * (PAPER - METAL) < -height[0] < 1.01 * (PAPER - METAL)


def test_half_level_in_coded_light_reads_thin():
    """Half level taken in sRGB code moves a dark object's edge by 1.19 px at a blur of 1.5; linear light does not."""
    blur_px, place = 1.5, 40.3
    values = strip(place, blur_px, paper=1.0, metal=0.0)
    # Closed form: code 0.5 is 0.214 of linear light (IEC 61966-2-1), so the crossing moves by blur times Phi^-1(0.214).
    expected = blur_px * norm.ppf(1 - ((0.5 + 0.055) / 1.055) ** 2.4)
    coded = half_level(encoded(values), 0.5)

    assert expected == pytest.approx(1.19, abs=0.01)
    assert coded - place == pytest.approx(expected, abs=0.05)  # into the metal: 2.4 px over both edges
    assert located(values, blur_px)[0] == pytest.approx(place, abs=0.05)


@pytest.mark.parametrize(("blur_px", "bound_px"), [(1.0, 0.038), (1.5, 0.046), (3.0, 0.065)])
def test_spread_keeps_the_cramer_rao_bound(blur_px, bound_px):
    """No locator beats the Cramer-Rao bound 1.88 (sigma/C) sqrt(blur) a row; this one has its own closed form."""
    noise = (PAPER - METAL) / 50.0
    n = 4000
    # Bound for samples s(x) in white noise, sigma^2 / sum s'(x)^2: Gatherer 1993, Stanford CSL-TR-93-560 (abstract read).
    steepness = (PAPER - METAL) * norm.pdf(np.arange(-40, 41) / blur_px) / blur_px
    by_sum = noise / np.sqrt((steepness**2).sum())
    closed = noise / (PAPER - METAL) * np.sqrt(2.0 * np.sqrt(np.pi) * blur_px)
    assert closed == pytest.approx(bound_px, abs=6e-4)
    assert by_sum == pytest.approx(closed, rel=1e-3)

    values = strip(40.3, blur_px, columns=n) + np.random.default_rng(5).normal(0.0, noise, (ROWS, n))
    row, _ = located(values, blur_px, threshold=0.15 * (PAPER - METAL) / blur_px)
    spread = 1.4826 * np.median(np.abs(row - np.median(row)))
    own = 1.17 / np.sqrt(n)  # relative standard error of a spread taken from the median deviation, in units of 1/sqrt(n)

    assert np.isfinite(row).all()
    assert spread > closed * (1.0 - 3.0 * own)
    assert spread == pytest.approx(steepest_place_u(noise, blur_px), rel=0.1)
    assert np.median(row) == pytest.approx(40.3, abs=0.03)  # a parabola through three rows is off by up to 0.03 px


@pytest.mark.parametrize("along_px", [1.0, 2.0])
def test_smoothing_along_the_edge_pools_rows_and_no_more(along_px):
    """Smoothing by sigma along the axis pools 2 sqrt(pi) sigma rows (closed form): the spread falls by that root at most."""
    blur_px, noise, n = 1.5, (PAPER - METAL) / 50.0, 6000
    values = strip(40.3, blur_px, columns=n) + np.random.default_rng(6).normal(0.0, noise, (ROWS, n))
    row, _ = located(values, blur_px, along_px=along_px, threshold=0.1)
    spread = 1.4826 * np.median(np.abs(row - np.median(row)))
    pooled = 2.0 * np.sqrt(np.pi) * along_px
    bound = noise / (PAPER - METAL) * np.sqrt(2.0 * np.sqrt(np.pi) * blur_px / pooled)
    own = 1.17 / np.sqrt(n / pooled)

    assert spread > bound * (1.0 - 3.0 * own)
    assert spread == pytest.approx(steepest_place_u(noise, blur_px, pooled), rel=0.15)


def test_the_outermost_step_is_the_edge_not_the_strongest():
    """Metal that mirrors the paper shows a small step at its edge and a great one further in: the small one counts."""
    blur_px = 1.5
    values = strip(38.0, blur_px, metal=0.70) + strip(52.0, blur_px, paper=0.0, metal=-0.60)
    row, slope = located(values, blur_px, threshold=0.005)

    assert row == pytest.approx(38.0, abs=0.1)
    assert step_height(slope, smoothing_px(blur_px), blur_px) == pytest.approx(-0.10, rel=0.05)


def test_a_soft_shadow_neither_counts_nor_pulls():
    """Light that falls off evenly toward the metal is background: it is no edge, and the edge in it stays in place."""
    blur_px = 1.5
    ramp = np.linspace(0.25, 0.0, ROWS)[:, None] * np.ones(COLUMNS)
    alone, _ = located(0.5 + ramp, blur_px, threshold=0.005)
    row, _ = located(strip(45.2, blur_px) + ramp, blur_px, threshold=0.005)

    assert np.isnan(alone[0])
    assert np.isnan(alone).all()
    assert row == pytest.approx(45.2, abs=0.05)


def test_a_halo_of_sharpening_is_passed_over():
    """A bright rim just outside a dark edge, of the other sign and far smaller, is the phone's sharpening, not an edge."""
    blur_px = 1.2
    values = strip(45.0, blur_px)
    soft = strip(45.0, np.hypot(blur_px, 2.5))
    sharpened = values + 0.6 * (values - soft)  # unsharp masking
    row, slope = located(sharpened, blur_px, threshold=0.004)

    assert (sharpened > PAPER + 0.01).any()
    assert (slope < 0.0).all()
    assert row == pytest.approx(45.0, abs=0.1)


def test_a_bright_line_of_its_own_is_an_edge():
    """A step up that is not undone within a few rows is kept: it is metal brighter than paper, not a halo."""
    blur_px = 1.2
    values = strip(42.0, blur_px, metal=1.1) + strip(50.0, blur_px, paper=0.0, metal=-0.5)
    row, slope = located(values, blur_px)

    assert (slope > 0.0).all()
    assert row == pytest.approx(42.0, abs=0.1)


def test_no_edge_is_no_number():
    """Bare paper with noise, judged at six times its own spread, gives NaN in every column."""
    noise = np.random.default_rng(7).normal(PAPER, 0.01, (ROWS, COLUMNS))
    slopes = slope_map(noise, 1.5, 1.0)
    spread = 1.4826 * np.median(np.abs(slopes))
    row, slope = outermost(beyond_background(slopes, 2.1), np.full(noise.shape, 6.0 * spread), 5)

    assert np.isnan(row).all()
    assert np.isnan(slope).all()


def test_just_outside_is_a_mean_of_rows_further_out():
    """The background of a row is the plain mean of the rows 4 to 10 blur widths further out, 0 where there are none."""
    values = np.random.default_rng(9).uniform(size=(ROWS, 3))
    background = just_outside(values, 2.0)

    assert background[50] == pytest.approx(values[30:42].mean(axis=0))
    assert (background[:8] == 0.0).all()
