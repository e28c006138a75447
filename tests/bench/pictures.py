"""tests/bench/pictures.py: what the primitives are given, [channel, row, column] floats."""
import numpy as np

import ours

WIDTH, HEIGHT = 1920, 1080
SHAPE = (4, HEIGHT, WIDTH)
BYTES = 4 * 4 * WIDTH * HEIGHT  # of a frame
_kept = {}


def _keep(make):
    def once():
        if make.__name__ not in _kept:
            _kept[make.__name__] = make()
        return _kept[make.__name__]
    return once


def _grid():
    return np.meshgrid(np.arange(WIDTH) + 0.5, np.arange(HEIGHT) + 0.5)


@_keep
def natural():
    """Frame 240 of Kiln Hours with grain as film has it, opaque, in steps that half floats hold."""
    graph = ours.Graph(2, setting="samples=4")
    planes = graph.picture(240).planes(SHAPE).astype(np.float64)
    noise = np.random.default_rng(1).normal(size=(3, HEIGHT, WIDTH))
    planes[:3] = np.maximum(planes[:3] + 0.02 * np.sqrt(np.maximum(planes[:3], 1e-3)) * noise, 0)
    planes[3] = 1
    return planes.astype(np.float32)


@_keep
def layer():
    """Something to put on it: a premultiplied ring of light, alpha from 0 to 1."""
    x, y = _grid()
    distance = np.hypot(x - WIDTH / 2, y - HEIGHT / 2)
    alpha = np.clip(1.5 - np.abs(distance - 400) / 200, 0, 1)
    color = np.stack([0.9 + 0 * x, x / WIDTH, y / HEIGHT])
    return np.concatenate([color * alpha, alpha[None]]).astype(np.float32)


@_keep
def impulses():
    """R: single pixels at scattered places; G: the natural picture; B: white noise; A: 1."""
    planes = natural().copy()
    generator = np.random.default_rng(2)
    planes[0] = 0
    ys, xs = (generator.integers(100, size - 100, 12) for size in (HEIGHT, WIDTH))
    planes[0, ys, xs] = 1
    planes[1] = natural()[1]
    planes[2] = generator.random((HEIGHT, WIDTH))
    return planes


@_keep
def radii():
    """Circles of confusion, -40 to 40 pixels: a floor that recedes behind the focus and a thing
    in front of it."""
    x, y = _grid()
    floor = 40 * np.clip(1 - y / (0.8 * HEIGHT), 0, 1)
    thing = np.hypot(x - 0.3 * WIDTH, y - 0.6 * HEIGHT) < 220
    return np.where(thing, -25 - 15 * x / WIDTH, floor)[None].astype(np.float32)


@_keep
def displacement():
    """Slow shimmer, some pixels wide: dx and dy."""
    x, y = _grid()
    dx = 5 * np.sin(x / 37 + y / 53) + 4 * np.sin(y / 19 - x / 71)
    dy = 6 * np.sin(x / 43 - y / 31) + 2 * np.cos(x / 17 + y / 29)
    return np.stack([dx, dy]).astype(np.float32)


def interleaved(planes):
    """[row, column, channel], as most libraries keep pixels."""
    return np.ascontiguousarray(np.moveaxis(planes, 0, 2))
