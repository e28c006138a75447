"""tests/bench/frames.py: whole frames of Kiln Hours, node by node."""
import time

import assembled
import measure
import ours
import rivals
from measure import THREADS, Row

LEAST = 0.002  # seconds that a node must take to have a line
FRAME = 240  # plaque, shed and byline are all in the picture


class Whole:
    """A frame and its EXR file, with one number of threads."""

    def __init__(self, threads, scale):
        self.graph = ours.Graph(threads, scale=scale)
        self.peak, self.encoding, self.bytes, self.runs = 0, [], 0, 0

    def run(self):
        picture = self.graph.picture(FRAME)
        self.peak = self.graph.peak()
        start = time.perf_counter()
        self.bytes = self.graph.encode(0, picture)
        self.encoding.append(time.perf_counter() - start)
        self.peak = max(self.peak, ours.lib.bench_memory_peak())
        self.runs += 1


def frame(key, title, scale, most):
    row = Row(key, title)
    wholes = {n: Whole(n, scale) for n in THREADS}
    row.add("ours", lambda n: wholes[n].run(), THREADS)
    row.measure(seconds=8, least=2, most=most)
    last = wholes[THREADS[-1]]
    row.figures = {"seconds": row.find(f"ours.{THREADS[-1]}"), "MiB": last.peak / 2 ** 20}
    row.text = _totals(row, last) + _nodes(wholes)
    return row


def beside(key, title):
    """The frame beside the same picture put together from other libraries."""
    row = Row(key, title)
    row.text = ""
    if not (rivals.gl and rivals.cv2 and rivals.exr):
        row.missing("parts", "llvmpipe, OpenCV or OpenEXR is not installed")
        return row
    whole = Whole(THREADS[-1], 1.0)
    try:
        parts = assembled.Assembled(whole.graph)
    except RuntimeError as error:
        row.missing("parts", str(error))
        return row
    row.cleanup.append(parts.free)
    parts.run()
    difference, outline = assembled.likeness(parts, whole.graph, whole.graph.picture(FRAME))
    row.check("parts", difference, 0.01,
              "ours for the eye (gamma 2.2), both blurred by 8 pixels, root mean square")
    row.check("parts", outline, 0.02, "the outline of our plaque")
    parts.stages, parts.runs = {}, 0
    row.add("ours", lambda _: whole.run(), THREADS[-1:])
    row.add("parts", lambda _: parts.run(), THREADS[-1:])
    row.notes.append("parts: as assembled.py says; meshes, maps, byline and vignette are there "
                     "already, ours makes them in each frame")
    row.measure(seconds=20, least=3, most=5)
    row.text = _parts(row, parts)
    return row


def _parts(row, parts):
    lines = [[name, measure.milliseconds(seconds / parts.runs)]
             for name, seconds in parts.stages.items()]
    return (measure.comparison([row]) + "\n" + measure.checks([row]) + "\n" +
            measure.table(["stage of parts", "ms"], lines, right=(1,)))


def _nodes(wholes):
    stats = {n: whole.graph.stats() for n, whole in wholes.items()}
    last = THREADS[-1]
    lines, rest = [], [0.0] * len(THREADS)
    for i, (name, op, seconds, peak) in enumerate(stats[last]):
        took = [stats[n][i][2] / wholes[n].runs for n in THREADS]
        if max(took) < LEAST:
            rest = [a + b for a, b in zip(rest, took)]
            continue
        lines.append((took[-1], [name, op] + [measure.milliseconds(s) for s in took] +
                      [f"{peak / 2 ** 20:.0f}"]))
    lines = [line for _, line in sorted(lines, key=lambda pair: -pair[0])]
    lines.append([f"all below {LEAST * 1e3:.0f} ms", ""] +
                 [measure.milliseconds(s) for s in rest] + [""])
    encoding = [sum(wholes[n].encoding) / len(wholes[n].encoding) for n in THREADS]
    lines.append(["master", "EXR half ZIP"] + [measure.milliseconds(s) for s in encoding] + [""])
    heads = ["node", "operator"] + [f"ms, {n} thread{'s' if n > 1 else ''}"
                                  for n in THREADS]
    return measure.table(heads + ["peak MiB"], lines, right=range(2, len(heads) + 1))


def _totals(row, whole):
    """Total, before the nodes by what they take; a mean of the runs."""
    totals = ", ".join(f"{row.find(f'ours.{n}'):.2f} s with {n} thread{'s' if n > 1 else ''}"
                       for n in THREADS)
    return (f"With its EXR file: {totals}; most memory in use {row.figures['MiB']:.0f} MiB; "
            f"the file has {whole.bytes / 2 ** 20:.1f} MiB.\n\n")


def rows():
    yield lambda: frame("frame-1080", "Kiln Hours 240, 1920 x 1080", 1.0, 5)
    yield lambda: beside("assembled-1080", "Kiln Hours 240 beside llvmpipe, OpenCV and OpenEXR")
    yield lambda: frame("frame-2160", "Kiln Hours 240, 3840 x 2160", 2.0, 2)


def section(row):
    return f"#### {row.title}\n\n{row.text}"
