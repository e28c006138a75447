"""tests/bench/exact.py: right answers in double precision from the definitions, at probes."""
import numpy as np


def over(source, backdrop):
    """W3C Compositing and Blending Level 1, 9.1.4; [channel, row, column], alpha last."""
    source, backdrop = source.astype(np.float64), backdrop.astype(np.float64)
    return source + backdrop * (1 - source[3])


def gaussian_matrix(size, sigma, rows):
    """Rows of the matrix that blurs `size` samples with nothing outside; the sampled Gaussian,
    normalised over all whole numbers."""
    reach = int(np.ceil(9 * sigma)) + 1
    total = np.exp(-np.arange(-reach, reach + 1) ** 2 / (2.0 * sigma * sigma)).sum()
    distance = np.asarray(rows)[:, None] - np.arange(size)[None, :]
    return np.exp(-distance ** 2 / (2.0 * sigma * sigma)) / total


def gaussian(plane, sigma, rows):
    """Those rows of the blurred plane."""
    height, width = plane.shape
    partial = gaussian_matrix(height, sigma, rows) @ plane.astype(np.float64)
    return partial @ gaussian_matrix(width, sigma, np.arange(width)).T


def _under_circle(radius, x):
    """Integral of sqrt(r^2 - x^2) from 0 to x."""
    return 0.5 * (x * np.sqrt(np.maximum(radius * radius - x * x, 0)) +
                  radius * radius * np.arcsin(np.minimum(x / radius, 1)))


def _quadrant(radius, x, y):
    """Area of the disc within 0 .. x, 0 .. y, both >= 0."""
    x, y = np.minimum(x, radius), np.minimum(y, radius)
    edge = np.sqrt(np.maximum(radius * radius - y * y, 0))  # up to here the circle is above y
    inner = np.minimum(x, edge)
    return y * inner + _under_circle(radius, x) - _under_circle(radius, inner)


def disc_kernel(radius):
    """Each pixel's share of the disc's area, exact."""
    reach = int(np.ceil(radius - 0.5))
    at = np.arange(-reach, reach + 1)
    low, high = at - 0.5, at + 0.5

    def signed(x, y):
        return np.sign(x) * np.sign(y) * _quadrant(radius, np.abs(x), np.abs(y))

    x0, y0 = np.meshgrid(low, low)
    x1, y1 = np.meshgrid(high, high)
    area = signed(x1, y1) - signed(x0, y1) - signed(x1, y0) + signed(x0, y0)
    return np.maximum(area, 0) / (np.pi * radius * radius)


def convolve_at(plane, kernel, ys, xs):
    """The symmetric kernel's sums at some pixels, nothing outside the plane."""
    reach = kernel.shape[0] // 2
    wide = np.pad(plane.astype(np.float64), reach)
    size = 2 * reach + 1
    return np.array([(wide[y:y + size, x:x + size] * kernel).sum() for y, x in zip(ys, xs)])


def cubic_weights(t, a):
    """Keys, "Cubic Convolution Interpolation" (1981), eq. 15 for a = -1/2, taps -1 .. 2."""
    def near(d):
        return ((a + 2) * d - (a + 3)) * d * d + 1

    def far(d):
        return ((a * d - 5 * a) * d + 8 * a) * d - 4 * a

    return np.stack([far(1 + t), near(t), near(1 - t), far(2 - t)])


def warp_at(planes, dx, dy, ys, xs, cubic=None):
    """Samples at (x + dx, y + dy) with the edge's pixel outside; bilinear, or cubic with that a."""
    x = xs + dx[ys, xs].astype(np.float64)
    y = ys + dy[ys, xs].astype(np.float64)
    ix, iy = np.floor(x).astype(int), np.floor(y).astype(int)
    first = 0 if cubic is None else -1
    if cubic is None:
        wx, wy = np.stack([1 - (x - ix), x - ix]), np.stack([1 - (y - iy), y - iy])
    else:
        wx, wy = cubic_weights(x - ix, cubic), cubic_weights(y - iy, cubic)
    height, width = planes.shape[1:]
    total = np.zeros((planes.shape[0], len(xs)))
    for j in range(len(wy)):
        for i in range(len(wx)):
            row = np.clip(iy + first + j, 0, height - 1)
            column = np.clip(ix + first + i, 0, width - 1)
            total += wy[j] * wx[i] * planes[:, row, column].astype(np.float64)
    return total
