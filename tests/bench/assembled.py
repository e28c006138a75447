"""tests/bench/assembled.py: frame 240 of Kiln Hours put together from llvmpipe, OpenCV and OpenEXR.

Our triangles, maps and lights, 16 samples a pixel as 4 samples at 4 instants of the shutter; then
what kiln-hours.yaml says, each step by the quickest means that these libraries have: shimmer by
noise made at a quarter of the size, defocus by layers in depth, glows by a pyramid. Figures are
those of the graph at that frame. What does not change from frame to frame (the byline, the
vignette, plain coordinates) is there beforehand.
"""
import concurrent.futures
import contextlib
import math
import os
import time

import numpy as np

import ours
import pictures
import rivals
from measure import THREADS

FRAME, INSTANTS = 240, 4
WIDTH, HEIGHT = pictures.WIDTH, pictures.HEIGHT
HEAT = (958, 453, math.hypot(1920 - 958, 1080 - 453))  # of heat-mask: centre and radius
FOCAL, STOP, FILM, FOCUS = 44.0, 2.8, 36.0, 0.84
LAYER_STEP = 4.0  # pixels of radius between layers in depth
POWER = (1.10, 1.06, 1.06)


def _floats(*shape):
    return np.zeros(shape, np.float32)


def _disc(radius):
    """Weights of a disc, with coverage at its edge about right."""
    reach = math.ceil(radius)
    at = np.arange(-reach, reach + 1)
    weights = np.clip(radius + 0.5 - np.hypot(*np.meshgrid(at, at)), 0, 1).astype(np.float32)
    return weights / weights.sum()


def _grading():
    """Exposure, slope and offset as one matrix; saturation as another."""
    before = np.diag(np.float32([1.02, 1.02, 0.96]) * np.float32(2 ** 0.2))
    before = np.column_stack([before, [-0.004, -0.004, -0.002]]).astype(np.float32)
    luma = np.float32([0.2126, 0.7152, 0.0722])
    return before, (0.96 * np.eye(3) + 0.04 * luma).astype(np.float32)


class Assembled:
    """.run() makes the file; .picture is what it holds, .stages what each step took in all."""

    def __init__(self, graph):
        self.cv = rivals.cv2
        self.graph, self.runs, self.stages, self.scenes = graph, 0, {}, []
        self.workers = concurrent.futures.ThreadPoolExecutor(THREADS[-1])
        self.layers = [(_floats(HEIGHT, WIDTH, 4), _floats(HEIGHT, WIDTH)) for _ in range(2)]
        self._prepare()
        os.environ["LP_NUM_THREADS"] = str(THREADS[-1])
        self.stage = rivals.gl.rival_stage_new(WIDTH, HEIGHT)
        if not self.stage:
            raise RuntimeError("OpenGL without a window cannot be had here")
        for node in ("shed-lit", "sign-lit"):
            self.scenes.append(ours.lib.bench_scene_new(graph.handle, node.encode(), FRAME))
            if not self.scenes[-1] or rivals.gl.rival_stage_add(self.stage, self.scenes[-1]) < 0:
                raise RuntimeError("the scene cannot be loaded")

    def free(self):
        rivals.gl.rival_stage_free(self.stage)
        for scene in self.scenes:
            ours.lib.bench_scene_free(scene)

    def _prepare(self):
        x, y = np.meshgrid(np.arange(WIDTH, dtype=np.float32), np.arange(HEIGHT, dtype=np.float32))
        self.grid = np.stack([x, y], 2)
        heat = 1 - np.hypot(x - HEAT[0], y - HEAT[1]) / HEAT[2]
        self.heat = self.cv.resize(np.clip(heat, 0, 1), (WIDTH // 4, HEIGHT // 4),
                                   interpolation=self.cv.INTER_AREA)[..., None]
        t = np.clip((np.hypot(x - 960, y - 520) / 1140 - 0.35) / 0.65, 0, 1)[..., None]
        self.vignette = (1 + t * (np.float32([0.18, 0.15, 0.14]) - 1)).astype(np.float32)
        self.byline = self.graph.node("byline-type", FRAME).planes(pictures.SHAPE)
        rows = np.flatnonzero(self.byline[3].any(1))
        self.byline_rows = slice(rows[0], rows[-1] + 1)
        self.byline = pictures.interleaved(self.byline[:, self.byline_rows])

    @contextlib.contextmanager
    def _stage(self, name):
        start = time.perf_counter()
        yield
        self.stages[name] = self.stages.get(name, 0) + time.perf_counter() - start

    def _halves(self, work, count=HEIGHT):
        """work(rows) for as many parts of the picture as there are threads."""
        cuts = np.linspace(0, count, THREADS[-1] + 1).astype(int)
        list(self.workers.map(work, [slice(a, b) for a, b in zip(cuts, cuts[1:])]))

    def _draw(self, index):
        color, depth = self.layers[index]
        if rivals.gl.rival_stage_run(self.stage, index, INSTANTS, color.ctypes.data,
                                     depth.ctypes.data) != 0:
            raise RuntimeError("OpenGL failed")
        return color, depth

    def _shimmer(self, color, depth):
        cv, size = self.cv, (WIDTH // 4, HEIGHT // 4)
        generator, moves = np.random.default_rng(FRAME), _floats(size[1], size[0], 2)
        for octave in range(3):
            cells = 70 / 2 ** octave
            noise = generator.normal(size=(int(HEIGHT / cells) + 2, int(WIDTH / cells) + 2, 2))
            noise = cv.resize(noise.astype(np.float32), size, interpolation=cv.INTER_CUBIC)
            cv.scaleAdd(noise, 0.25 * 9 / 1.75 / 2 ** octave, moves, moves)
        moves = cv.add(cv.resize(moves * self.heat, (WIDTH, HEIGHT)), self.grid)
        return (cv.remap(color, moves, None, cv.INTER_CUBIC, borderMode=cv.BORDER_REPLICATE),
                cv.remap(depth, moves, None, cv.INTER_NEAREST, borderMode=cv.BORDER_REPLICATE))

    def _blurred(self, layer, radius):
        """By a disc; a wide one at half the size."""
        cv = self.cv
        if radius < 0.5:
            return layer
        if radius < 8:
            return cv.filter2D(layer, -1, _disc(radius), borderType=cv.BORDER_REFLECT)
        half = cv.resize(layer, (WIDTH // 2, HEIGHT // 2), interpolation=cv.INTER_AREA)
        half = cv.filter2D(half, -1, _disc(radius / 2), borderType=cv.BORDER_REFLECT)
        return cv.resize(half, (WIDTH, HEIGHT))

    def _defocus(self, color, depth, solid):
        """The thin lens's radius sorts pixels into layers, which share those between them; each is
        blurred evenly, all are added. What is solid everywhere is divided by what it came to."""
        cv = self.cv
        largest = WIDTH / FILM / 2 * FOCAL * FOCAL / STOP / (FOCUS * 1000 - FOCAL)
        radius = cv.subtract(largest, cv.divide(largest * FOCUS, depth))
        covered = color[..., 3] > 0
        low, high = (float(radius[covered].min()), float(radius[covered].max()))
        steps = range(math.floor(low / LAYER_STEP), math.ceil(high / LAYER_STEP) + 1)

        def layer(step):
            weight = 1 - cv.absdiff(radius, float(step * LAYER_STEP)) / LAYER_STEP
            weight = cv.threshold(weight, 0, 0, cv.THRESH_TOZERO)[1]
            if not cv.countNonZero(weight):
                return None
            return self._blurred(cv.multiply(color, cv.merge([weight] * 4)),
                                 abs(step * LAYER_STEP))

        out = _floats(*color.shape)
        for made in self.workers.map(layer, steps):
            if made is not None:
                cv.add(out, made, out)
        if solid:
            self._halves(lambda rows: cv.divide(out[rows], cv.merge([out[rows, :, 3]] * 4),
                                                out[rows]))
        return out

    def _over(self, source, backdrop):
        out = _floats(HEIGHT, WIDTH, 3)

        def part(rows):
            rest = self.cv.subtract(1.0, source[rows, :, 3])
            out[rows] = self.cv.add(source[rows, :, :3].copy(), self.cv.multiply(
                backdrop[rows, :, :3].copy(), self.cv.merge([rest] * 3)))
        self._halves(part)
        return out

    def _glow(self, image, threshold, sigma, gain, tint):
        """Four Gaussians, each half as wide, at sizes where they are some 2 pixels wide."""
        cv = self.cv
        light = _floats(*image.shape)
        self._halves(lambda rows: cv.max(cv.subtract(image[rows], (threshold,) * 4), 0.0,
                                         light[rows]))
        levels, shrunk = [(light, sigma / 8)], light
        while levels[-1][1] >= 4:
            shrunk = cv.resize(shrunk, (shrunk.shape[1] // 2, shrunk.shape[0] // 2),
                               interpolation=cv.INTER_AREA)
            levels.append((shrunk, levels[-1][1] / 2))
        for _ in range(3):  # of the wider ones each is as wide at half the size
            shrunk = cv.resize(shrunk, (shrunk.shape[1] // 2, shrunk.shape[0] // 2),
                               interpolation=cv.INTER_AREA)
            levels.append((shrunk, levels[-1][1]))
        four = list(self.workers.map(lambda level: cv.GaussianBlur(level[0], (0, 0), level[1]),
                                     levels[-4:]))
        total = four[-1]
        for finer in four[-2::-1] + [level[0] for level in levels[-5::-1]]:
            total = cv.resize(total, (finer.shape[1], finer.shape[0]))
            if any(finer is one for one in four):
                cv.add(total, finer, total)
        by = np.diag(np.float32(tint) * np.float32(gain / 4))
        self._halves(lambda rows: cv.add(image[rows], cv.transform(total[rows], by), image[rows]))
        return image

    def _grade(self, image):
        cv = self.cv
        before, saturation = _grading()

        def part(rows):
            x = cv.max(cv.transform(image[rows], before), 0.0)
            x = cv.merge([cv.pow(c, p) for c, p in zip(cv.split(x), POWER)])
            cv.multiply(cv.transform(x, saturation), self.vignette[rows], image[rows])
        self._halves(part)
        rows = self.byline_rows
        rest = cv.merge([cv.subtract(1.0, self.byline[..., 3])] * 3)
        image[rows] = self.byline[..., :3] + image[rows] * rest
        return image

    def _encode(self, image):
        cv = self.cv
        halves = np.empty((4, HEIGHT, WIDTH), np.int16)
        halves[3] = np.float16(1).view(np.int16)

        def part(rows):
            for c, plane in enumerate(cv.split(cv.convertFp16(image[rows]))):
                halves[c, rows] = plane
        self._halves(part)
        return rivals.exr_write(halves.view(np.uint16), 4, THREADS[-1], False)

    def run(self):
        self.cv.setNumThreads(THREADS[-1])
        with self._stage("llvmpipe, shed"):
            color, depth = self._draw(0)
        with self._stage("llvmpipe, plaque"):
            sign, sign_depth = self._draw(1)
        with self._stage("shimmer"):
            color, depth = self._shimmer(color, depth)
        with self._stage("defocus, shed"):
            color = self._defocus(color, depth, True)
        with self._stage("defocus, plaque"):
            sign = self._defocus(sign, sign_depth, False)
        with self._stage("over"):
            image = self._over(sign, color)
        with self._stage("two glows"):
            image = self._glow(image, 1.0, 15, 0.55, (1, 0.8, 0.5))
            image = self._glow(image, 0.8, 144, 0.2, (1, 0.5, 0.2))
        with self._stage("grade, vignette, byline"):
            image = self._grade(image)
        with self._stage("EXR"):
            self._encode(image)
        self.runs += 1
        self.picture = image


def _seen(image):
    """Display values [row, column, 3], blurred by 8 pixels: what is compared."""
    return rivals.cv2.GaussianBlur(np.clip(image, 0, 1) ** np.float32(1 / 2.2), (0, 0), 8)


def likeness(parts, graph, picture):
    """(root mean square difference of what is seen, share of the plaque's outline that only one of
    them has). `picture`: ours."""
    mine = np.moveaxis(picture.planes(pictures.SHAPE)[:3], 0, 2)
    rms = float(np.sqrt(np.mean((_seen(mine) - _seen(parts.picture)) ** 2)))
    a = graph.node("plaque", FRAME).planes(pictures.SHAPE)[3] > 0.5
    b = parts.layers[1][0][..., 3] > 0.5
    return rms, float((a ^ b).sum() / (a | b).sum())
