"""tests/bench/filters.py: Gaussian, disc, defocus by depth, warp."""
import ctypes
import numpy as np

import exact
import ours
import pictures
import rivals
from measure import THREADS, Row

GENERATOR_SEED = 3


def relative(found, right):
    """The largest difference over the largest right value."""
    return np.max(np.abs(found - right)) / np.max(np.abs(right))


def probes(count, margin=0):
    generator = np.random.default_rng(GENERATOR_SEED)
    return (generator.integers(margin, pictures.HEIGHT - margin, count),
            generator.integers(margin, pictures.WIDTH - margin, count))


def gaussian(sigma):
    row = Row(f"gaussian-{sigma}", f"Gaussian, sigma {sigma}", 2 * pictures.BYTES)
    planes = pictures.impulses()
    lines = np.unique(np.concatenate([np.nonzero(planes[0])[0], np.arange(5, 1080, 90)]))
    right = {c: exact.gaussian(planes[c], sigma, lines) for c in (0, 1)}
    against = "dense sums in double: peak of single pixels; picture"

    def check(who, found, most):
        row.check(who, relative(found[0][lines], right[0]), most, against)
        row.check(who, relative(found[1][lines], right[1]), most, against)

    picture = ours.Picture(planes)
    check("ours", ours.result("bench_gaussian", 1, pictures.SHAPE, picture.handle, float(sigma)),
          1e-4)
    row.add("ours", lambda n: ours.run("bench_gaussian", n, picture.handle, float(sigma)), THREADS)
    pixels = pictures.interleaved(planes)
    if rivals.cv2:
        cv2, out = rivals.cv2, np.empty_like(pixels)

        def by_cv(_):
            cv2.GaussianBlur(pixels, (0, 0), sigma, dst=out, borderType=cv2.BORDER_CONSTANT)
        by_cv(1)
        check("opencv", np.moveaxis(out, 2, 0), 1e-3)
        row.add("opencv", by_cv, prepare=rivals.cv_threads)
    else:
        row.missing("opencv")
    if rivals.vips and sigma <= 2:
        vips = rivals.vips
        image = vips.image(pixels)
        options = [b"min_ampl", ctypes.c_double(1e-3), b"precision", ctypes.c_int(1)]

        def blurred():
            return vips.call("vips_gaussblur", image, None, ctypes.c_double(sigma), options=options)

        def by_vips(_):
            made = blurred()
            vips.make(made)
            vips.free(made)
        made = blurred()
        found = np.moveaxis(vips.pixels(made, pixels.shape), 2, 0)
        row.check("libvips", relative(found[0][lines], right[0]), 1e-2,
                  "dense sums in double: peak of single pixels")
        row.notes.append("libvips: cut where the kernel falls to 1e-3, the least it takes")
        vips.free(made)
        row.add("libvips", by_vips, THREADS, prepare=vips.threads)
    elif not rivals.vips:
        row.missing("libvips")
    return row.measure(seconds=3)


def fastest_tile(kernel, planes, out):
    """The FFTW tile that takes least, tried once each."""
    import time
    best = None
    for tile in (128, 192, 256, 384, 512):
        if tile < 3 * kernel.shape[0] // 2:
            continue
        plan = rivals.Fftw(kernel, 1, tile)
        start = time.perf_counter()
        plan.run(planes, out)
        took = time.perf_counter() - start
        if best is None or took < best[0]:
            best = took, tile
    return best[1]


def disc(radius):
    row = Row(f"disc-{radius}", f"disc, radius {radius}", 2 * pictures.BYTES)
    planes = pictures.impulses()
    kernel = exact.disc_kernel(radius)
    ys, xs = probes(200)
    right = exact.convolve_at(planes[2], kernel, ys, xs)
    against = "areas in closed form, sums in double"
    picture = ours.Picture(planes)
    found = ours.result("bench_disc", 1, pictures.SHAPE, picture.handle, float(radius))
    row.check("ours", relative(found[2][ys, xs], right), 1e-5, against)
    row.add("ours", lambda n: ours.run("bench_disc", n, picture.handle, float(radius)), THREADS)
    if rivals.fftw:
        out = np.empty_like(planes)
        tile = fastest_tile(kernel, planes, out)
        plans = {n: rivals.Fftw(kernel, n, tile) for n in THREADS}
        plans[1].run(planes, out)
        row.check("fftw", relative(out[2][ys, xs], right), 1e-5, against)
        row.add("fftw", lambda n: plans[n].run(planes, out), THREADS)
        row.notes.append(f"fftw: tiles of {tile}, the kernel's spectrum made beforehand")
    else:
        row.missing("fftw")
    pixels = pictures.interleaved(planes)
    if rivals.cv2:
        cv2, cv_out, small = rivals.cv2, np.empty_like(pixels), kernel.astype(np.float32)

        def by_cv(_):
            cv2.filter2D(pixels, -1, small, dst=cv_out, borderType=cv2.BORDER_CONSTANT)
        by_cv(1)
        row.check("opencv", relative(cv_out[ys, xs, 2], right), 1e-5, against)
        row.add("opencv", by_cv, prepare=rivals.cv_threads)
    else:
        row.missing("opencv")
    return row.measure(seconds=3)


def defocus():
    row = Row("defocus-40", "defocus by depth, radius to 40", 2 * pictures.BYTES)
    planes = pictures.natural()
    picture, radii = ours.Picture(planes), ours.Picture(pictures.radii(), "R")
    white = ours.Picture(np.ones_like(planes))
    even = ours.Picture(np.full((1,) + planes.shape[1:], 20, np.float32), "R")
    flat = ours.result("bench_defocus", 1, pictures.SHAPE, white.handle, radii.handle, 40.0)
    inner = flat[:, 90:-90, 90:-90]  # at the edge there is nothing to spread
    row.check("ours", np.max(np.abs(inner - 1)), 1e-5, "white stays white under varying radii")
    ys, xs = probes(200, 50)
    found = ours.result("bench_defocus", 1, pictures.SHAPE, picture.handle, even.handle, 40.0)
    right = exact.convolve_at(planes[1], exact.disc_kernel(20), ys, xs)
    # Pixels with large circles may be spread several as one; what that costs is printed.
    row.check("ours", relative(found[1][ys, xs], right), 1e-2,
              "radius 20 everywhere: the exact disc")
    row.add("ours", lambda n: ours.run("bench_defocus", n, picture.handle, radii.handle, 40.0),
            THREADS)
    row.add("disc", lambda n: ours.run("bench_disc", n, picture.handle, 40.0), THREADS)
    row.notes.append("disc: our own, of radius 40 everywhere; no library here does this work")
    return row.measure(seconds=3, least=3)


def warp(cubic):
    row = Row("warp-bicubic" if cubic else "warp-bilinear",
              "warp by a map, " + ("bicubic" if cubic else "bilinear"),
              int(2.5 * pictures.BYTES))
    planes, moved = pictures.impulses(), pictures.displacement()
    ys, xs = probes(20000)
    picture, map_ = ours.Picture(planes), ours.Picture(moved, "RG")
    kind = ours.CUBIC if cubic else ours.BILINEAR

    def check(who, found, a, most, kernel):
        right = exact.warp_at(planes, moved[0], moved[1], ys, xs, a)
        row.check(who, np.max(np.abs(found[2:, ys, xs] - right[2:])), most,
                  f"{kernel} in double, of white noise")

    check("ours", ours.result("bench_warp", 1, pictures.SHAPE, picture.handle, map_.handle, kind),
          -0.5 if cubic else None, 1e-5, "Keys a = -1/2" if cubic else "bilinear")
    row.add("ours", lambda n: ours.run("bench_warp", n, picture.handle, map_.handle, kind), THREADS)
    if rivals.cv2:
        cv2, pixels = rivals.cv2, pictures.interleaved(planes)
        out = np.empty_like(pixels)
        x, y = np.meshgrid(np.arange(pictures.WIDTH), np.arange(pictures.HEIGHT))
        map_x = (x + moved[0].astype(np.float64)).astype(np.float32)
        map_y = (y + moved[1].astype(np.float64)).astype(np.float32)
        how = cv2.INTER_CUBIC if cubic else cv2.INTER_LINEAR

        def by_cv(_):
            cv2.remap(pixels, map_x, map_y, how, dst=out, borderMode=cv2.BORDER_REPLICATE)
        by_cv(1)
        check("opencv", np.moveaxis(out, 2, 0), -0.75 if cubic else None, 5e-2,
              "Keys a = -3/4, its choice" if cubic else "bilinear")
        row.add("opencv", by_cv, THREADS, prepare=rivals.cv_threads)
    else:
        row.missing("opencv")
    return row.measure()


def rows():
    for sigma in (2, 10, 50, 200):
        yield lambda sigma=sigma: gaussian(sigma)
    for radius in (10, 40):
        yield lambda radius=radius: disc(radius)
    yield defocus
    yield lambda: warp(False)
    yield lambda: warp(True)
