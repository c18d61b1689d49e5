"""Photos of a surface under a lamp, by code that shares nothing with what reads them."""

import numpy as np
from PIL import Image


def lamp(azimuth_deg, lamp_deg):
    a, e = np.radians([azimuth_deg, lamp_deg])
    return np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])


def shadowed(heights, step, towards):
    """Return where the way to the lamp runs below the surface; row 0 at the least y."""
    n, m = heights.shape
    rows, columns = np.indices(heights.shape)
    flat = np.hypot(*towards[:2])
    rise = towards[2] / flat * step
    hidden = np.zeros(heights.shape, dtype=bool)
    for k in range(1, int(np.ptp(heights) / rise) + 2):
        r = (rows + towards[1] / flat * k).round().astype(int).clip(0, n - 1)
        c = (columns + towards[0] / flat * k).round().astype(int).clip(0, m - 1)
        hidden |= heights[r, c] > heights + k * rise + 1e-3
    return hidden


def photo(heights, step, towards, *, noise=0.0, gloss=0.0, seed=0, ambient=0.03):
    """Return the tones 0 to 255 of a matt or glossy surface, row 0 on top."""
    by_row, by_column = np.gradient(heights, step)
    normals = np.dstack([-by_column, -by_row, np.ones_like(heights)])
    normals /= np.linalg.norm(normals, axis=2)[..., None]
    rng = np.random.default_rng(seed)
    lit = np.clip(normals @ towards, 0.0, None) * ~shadowed(heights, step, towards)
    half = towards + np.array([0.0, 0.0, 1.0])
    shine = np.clip(normals @ (half / np.linalg.norm(half)), 0.0, None) ** 60
    light = 0.62 * (lit + ambient) + gloss * shine + rng.normal(size=lit.shape) * noise
    light = light.clip(0.0, 1.0)
    tones = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return Image.fromarray(np.rint(tones * 255).astype(np.uint8)[::-1])


def photos(folder, heights, step, azimuths, *, lamp_deg=55.0, wrong_deg=0.0, **how):
    """Write one photo for each side of the lamp, each off by some degrees; return their paths."""
    paths = []
    for number, azimuth in enumerate(azimuths):
        off = wrong_deg * (-1) ** number
        path = folder / f"lamp-{number}.png"
        photo(heights, step, lamp(azimuth + off, lamp_deg - off), seed=number, **how).save(path)
        paths.append(path)
    return paths
