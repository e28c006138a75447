"""tests/bench/pixels.py: source-over and chains of pointwise operators."""
import ctypes

import numpy as np

import exact
import ours
import pictures
import rivals
from measure import THREADS, Row

HEAD = """lampblack: 1
frame: {size: [1920, 1080], rate: 30, range: [1, 1000]}
nodes:
  a: {op: given, index: 0}
  b: {op: given, index: 1}
"""
TAIL = "outputs:\n  out: {image: last, file: out.exr, range: 1}\n"
OVER = HEAD + "  last: {op: composite, source: b, backdrop: a}\n" + TAIL

SLOPE, OFFSET = (1.1, 0.95, 0.9), (0.01, 0.02, 0.015)
POWERS, SATURATION = (0.9, 1.1), 0.8
STOPS = (0.5, -0.3)
LUMA = (0.2126, 0.7152, 0.0722)  # Rec. ITU-R BT.709
LIGHT = (0.02, 0.01, 0.005)


def chain_text(powers):
    """Exposure, slope and offset, (power), source-over, exposure, saturation, (power), lighter."""
    nodes = [f"{{op: exposure, image: a, stops: {STOPS[0]}}}",
             f"{{op: cdl, image: n0, slope: {list(SLOPE)}, offset: {list(OFFSET)}}}",
             f"{{op: cdl, image: n1, power: [{POWERS[0]}, {POWERS[0]}, {POWERS[0]}]}}",
             "{op: composite, source: b, backdrop: n2}",
             f"{{op: exposure, image: n3, stops: {STOPS[1]}}}",
             f"{{op: cdl, image: n4, saturation: {SATURATION}}}",
             f"{{op: cdl, image: n5, power: [{POWERS[1]}, {POWERS[1]}, {POWERS[1]}]}}",
             "{op: composite, source: wash, backdrop: n6, operator: lighter}"]
    text = HEAD + f"  wash: {{op: solid, color: {list(LIGHT)}}}\n"
    last = "a"
    for i, node in enumerate(nodes):
        if "power" in node and not powers:
            continue
        node = node.replace(f" n{i - 1}", f" {last}") if i else node
        last = f"n{i}" if i < len(nodes) - 1 else "last"
        text += f"  {last}: {node}\n"
    return text + TAIL


def exact_chain(picture, layer, powers):
    """The same from the formulas, in double precision; the picture is opaque."""
    v = picture.astype(np.float64)
    rgb = v[:3] * 2.0 ** STOPS[0]
    rgb = rgb * np.reshape(SLOPE, (3, 1, 1)) + np.reshape(OFFSET, (3, 1, 1))
    if powers:
        rgb = rgb ** POWERS[0]
    v = exact.over(layer, np.concatenate([rgb, v[3:]]))
    rgb = v[:3] * 2.0 ** STOPS[1]
    luma = np.tensordot(LUMA, rgb, 1)
    rgb = luma + SATURATION * (rgb - luma)
    if powers:
        rgb = rgb ** POWERS[1]
    return np.concatenate([rgb + np.reshape(LIGHT, (3, 1, 1)), np.ones_like(v[3:])])


def worst(found, right):
    """The largest difference, relative where the value is above 1."""
    return np.max(np.abs(found - right) / np.maximum(np.abs(right), 1))


# 1 - alpha in every channel, as a matrix of R, G, B, A and 1.
KEEP = np.repeat(np.float32([[0, 0, 0, -1, 1]]), 4, axis=0)


def cv_over(source, backdrop, scratch, out):
    """Source-over of two RGBA frames. The quickest of what OpenCV 4.6 offers on two processors:
    with extractChannel, subtract and merge instead of the matrix it takes 1.2 times as long, with
    mixChannels 1.5, with split and planes 20; `scratch` may be `out` where that is not the
    backdrop, which is quicker."""
    cv2 = rivals.cv2
    cv2.transform(source, KEEP, dst=scratch)
    cv2.multiply(backdrop, scratch, dst=out)
    cv2.add(out, source, dst=out)


class CvChain:
    """Operator after operator over whole frames, in place where OpenCV can."""

    def __init__(self, picture, layer, powers):
        cv2 = rivals.cv2
        self.powers, self.picture, self.layer = powers, picture, layer
        self.out, self.other = np.empty_like(picture), np.empty_like(picture)
        luma = np.zeros((4, 4))
        luma[:3, :3] = (1 - SATURATION) * np.array(LUMA) + SATURATION * np.eye(3)
        luma[3, 3] = 1
        self.saturation = luma.astype(np.float32)
        # Slope and offset at once: an eighth quicker than multiply and add.
        self.slope = np.zeros((4, 5), np.float32)
        self.slope[:, :4] = np.diag(SLOPE + (1,))
        self.slope[:3, 4] = OFFSET

    def run(self):
        cv2, out = rivals.cv2, self.out
        cv2.multiply(self.picture, (2 ** STOPS[0],) * 3 + (1,), dst=out)
        cv2.transform(out, self.slope, dst=out)
        if self.powers:
            cv2.pow(out, POWERS[0], dst=out)
        cv_over(self.layer, out, self.other, out)
        cv2.multiply(out, (2 ** STOPS[1],) * 3 + (1,), dst=out)
        cv2.transform(out, self.saturation, dst=self.other)
        if self.powers:
            cv2.pow(self.other, POWERS[1], dst=self.other)
        cv2.add(self.other, LIGHT + (0,), dst=out)
        return out


def numpy_chain(picture, layer, powers, out, scratch):
    """In float32, plane by plane, without a temporary."""
    out[3] = picture[3]
    keep = 1 - layer[3]
    for c in range(3):
        v = out[c]
        np.multiply(picture[c], np.float32(2 ** STOPS[0]), out=v)
        v *= np.float32(SLOPE[c])
        v += np.float32(OFFSET[c])
        if powers:
            np.power(v, np.float32(POWERS[0]), out=v)
        v *= keep
        v += layer[c]
        v *= np.float32(2 ** STOPS[1])
    np.multiply(out[0], np.float32(LUMA[0]), out=scratch)
    scratch += np.float32(LUMA[1]) * out[1]
    scratch += np.float32(LUMA[2]) * out[2]
    scratch *= np.float32(1 - SATURATION)
    for c in range(3):
        v = out[c]
        v *= np.float32(SATURATION)
        v += scratch
        if powers:
            np.power(v, np.float32(POWERS[1]), out=v)
        v += np.float32(LIGHT[c])
    return out


def vips_chain(picture, layer, powers):
    """The pipeline, not yet computed: libvips runs it in strips by itself."""
    vips = rivals.vips
    made = []

    def linear(image, scale, offset):
        count = len(scale)
        a, b = (ctypes.c_double * count)(*scale), (ctypes.c_double * count)(*offset)
        made.append(vips.call("vips_linear", image, None, a, b, ctypes.c_int(count)))
        return made[-1]

    def power(image, exponent):
        c = (ctypes.c_double * 1)(exponent)
        made.append(vips.call("vips_math2_const", image, None, ctypes.c_int(0), c, ctypes.c_int(1)))
        return made[-1]

    def scrgb(image):
        made.append(vips.call("vips_copy", image,
                              options=[b"interpretation", ctypes.c_int(vips.SCRGB)]))
        return made[-1]

    image = linear(picture, (2 ** STOPS[0],) * 3 + (1,), (0,) * 4)
    image = linear(image, SLOPE + (1,), OFFSET + (0,))
    if powers:
        image = power(image, POWERS[0])
    made.append(vips_over(scrgb(image), layer))
    image = linear(made[-1], (2 ** STOPS[1],) * 3 + (1,), (0,) * 4)
    matrix = np.zeros((4, 4))
    matrix[:3, :3] = (1 - SATURATION) * np.array(LUMA) + SATURATION * np.eye(3)
    matrix[3, 3] = 1
    vips.lib.vips_image_new_matrix_from_array.restype = ctypes.c_void_p
    kernel = vips.lib.vips_image_new_matrix_from_array(4, 4, (ctypes.c_double * 16)(*matrix.flat),
                                                       16)
    made.append(kernel)
    out = ctypes.c_void_p()
    vips.lib.vips_recomb(ctypes.c_void_p(image), ctypes.byref(out), ctypes.c_void_p(kernel),
                         ctypes.c_void_p(None))
    made.append(out.value)
    image = out.value
    if powers:
        image = power(image, POWERS[1])
    image = linear(image, (1,) * 4, LIGHT + (0,))
    return made.pop(), made


def to_255(pixels):
    """libvips counts alpha from 0 to 255 beside linear light."""
    return np.ascontiguousarray(pixels * np.float32([1, 1, 1, 255]))


def vips_over(backdrop, source):
    vips = rivals.vips
    return vips.call("vips_composite2", backdrop, ctypes.c_void_p(source), None,
                     ctypes.c_int(vips.OVER),
                     options=[b"premultiplied", ctypes.c_int(1), b"compositing_space",
                              ctypes.c_int(vips.SCRGB)])


def add_floor(row, inputs, count):
    """The streaming pass that moves the same bytes: copy (one input) or triad."""
    a, b = (ours.np.ascontiguousarray(p) for p in inputs)
    size = pictures.BYTES + 64
    raw = np.empty(size, np.uint8)
    start = -raw.ctypes.data % 64
    out = raw[start:start + pictures.BYTES].view(np.float32)
    out[:] = 0
    row.keep = (a, b, raw)
    for who, second in (("copy", None), ("triad", b.ctypes.data)):
        if who == "triad" and count < 2:
            continue
        row.add(who, lambda n, second=second: ours.good(ours.lib.bench_stream(
            ours.bench(n), out.ctypes.data, a.ctypes.data, second, 0.5, out.size, 1)), THREADS)


def source_over():
    row = Row("source-over", "source-over", 3 * pictures.BYTES)
    planes, layer = pictures.natural(), pictures.layer()
    right = exact.over(layer, planes)
    a, b = ours.Picture(planes), ours.Picture(layer)
    ours.lib.bench_give(0, a.handle)
    ours.lib.bench_give(1, b.handle)
    graphs = {n: ours.Graph(n, OVER) for n in THREADS}
    row.check("ours", worst(graphs[1].picture(1).planes(pictures.SHAPE), right), 1e-6,
              "the formula in double")
    row.add("ours", lambda n: graphs[n].frame(1), THREADS)
    found = ours.result("bench_over", 1, pictures.SHAPE, b.handle, a.handle)
    row.check("ours, kernel alone", worst(found, right), 1e-6, "the formula in double")
    row.add("ours, kernel alone", lambda n: ours.run("bench_over", n, b.handle, a.handle), THREADS)
    add_floor(row, (planes, layer), 2)
    out = np.empty_like(planes)
    keep = np.empty_like(planes[3])

    def by_numpy(_):
        np.subtract(1, layer[3], out=keep)
        np.multiply(planes, keep, out=out)
        np.add(out, layer, out=out)
    by_numpy(1)
    row.check("numpy", worst(out, right), 1e-6, "the formula in double")
    row.add("numpy", by_numpy)
    pixels, over = pictures.interleaved(planes), pictures.interleaved(layer)
    if rivals.cv2:
        cv_out = np.empty_like(pixels)

        def by_cv(_):
            cv_over(over, pixels, cv_out, cv_out)
        by_cv(1)
        row.check("opencv", worst(np.moveaxis(cv_out, 2, 0), right), 1e-6, "the formula in double")
        row.add("opencv", by_cv, prepare=rivals.cv_threads)
        row.notes.append("opencv: transform makes 1 - alpha of the source in every channel, then "
                         "multiply and add; alpha is taken as it comes, ours is kept within 0 to 1 "
                         "and the result finite")
    else:
        row.missing("opencv")
    if rivals.vips:
        vips = rivals.vips
        pair = vips.image(to_255(pixels)), vips.image(to_255(over))

        def by_vips(_):
            image = vips_over(*pair)
            vips.make(image)
            vips.free(image)
        image = vips_over(*pair)
        found = np.moveaxis(vips.pixels(image, pixels.shape), 2, 0).copy()
        found[3] /= 255
        vips.free(image)
        row.check("libvips", worst(found, right), 1e-4, "the formula in double")
        row.add("libvips", by_vips, THREADS, prepare=vips.threads)
    else:
        row.missing("libvips")
    return row.measure()


def chain(powers):
    row = Row("chain-8" if powers else "chain-6",
              "8 pointwise operators, two powers" if powers else "6 pointwise operators, no power",
              3 * pictures.BYTES)
    planes, layer = pictures.natural(), pictures.layer()
    right = exact_chain(planes, layer, powers)
    against = "the formulas in double"
    a, b = ours.Picture(planes), ours.Picture(layer)
    ours.lib.bench_give(0, a.handle)
    ours.lib.bench_give(1, b.handle)
    graphs = {n: ours.Graph(n, chain_text(powers)) for n in THREADS}
    row.check("ours", worst(graphs[1].picture(1).planes(pictures.SHAPE), right), 1e-5, against)
    row.add("ours", lambda n: graphs[n].frame(1), THREADS)
    add_floor(row, (planes, layer), 1)
    out, scratch = np.empty_like(planes), np.empty_like(planes[0])
    row.check("numpy", worst(numpy_chain(planes, layer, powers, out, scratch)[:3], right[:3]), 1e-5,
              against)
    row.add("numpy", lambda _: numpy_chain(planes, layer, powers, out, scratch))
    pixels, over = pictures.interleaved(planes), pictures.interleaved(layer)
    if rivals.cv2:
        cv = CvChain(pixels, over, powers)
        row.check("opencv", worst(np.moveaxis(cv.run(), 2, 0), right), 1e-5, against)
        row.add("opencv", lambda _: cv.run(), prepare=rivals.cv_threads)
        row.notes.append("all do the same steps, an operator after the other; ours keeps coverage "
                         "within 0 to 1 and results finite besides, and grades straight colour")
    else:
        row.missing("opencv")
    if rivals.vips:
        vips = rivals.vips
        pair = vips.image(pixels), vips.image(to_255(over))

        def by_vips(_, keep=None):
            image, parts = vips_chain(*pair, powers)
            if keep:
                keep.append(vips.pixels(image, pixels.shape))
            else:
                vips.make(image)
            for part in [image] + parts:
                vips.free(part)
        found = [0]
        by_vips(1, found)
        row.check("libvips", worst(np.moveaxis(found[1], 2, 0)[:3], right[:3]), 1e-4, against)
        row.add("libvips", by_vips, THREADS, prepare=vips.threads)
    else:
        row.missing("libvips")
    return row.measure()


def rows():
    yield source_over
    yield lambda: chain(True)
    yield lambda: chain(False)
