"""tests/bench/growth.py: how time and memory grow with what is asked for. Generated graphs."""
import math
import statistics
import time

import measure
import ours
from measure import THREADS

FRAME = "frame: {{size: [{0}, {1}], rate: 30, range: [1, 1000]}}\n"
MOST = THREADS[-1]


def _graph(width, height, nodes, last, **options):
    text = "lampblack: 1\n" + FRAME.format(width, height) + "nodes:\n"
    text += "".join(f"  {name}: {{{body}}}\n" for name, body in nodes)
    text += f"outputs:\n  out: {{image: {last}, file: out.exr, range: 1}}\n"
    return ours.Graph(MOST, text, **options)


def _time(run, least=3):
    run()
    took = []
    for _ in range(least):
        start = time.perf_counter()
        run()
        took.append(time.perf_counter() - start)
    return statistics.median(took)


def pixels():
    """A picture through blur, defocus, shimmer and grade."""
    nodes = [("a", "op: gradient, type: radial, stops: [{color: [4, 2, 1]}, {color: [0, 0, 0.2]}]"),
             ("b", "op: blur, image: a, sigma: 20, edge: clamp"),
             ("c", "op: shimmer, image: b, strength: 8"),
             ("d", "op: defocus, image: c, radius: 6"),
             ("e", "op: cdl, image: d, slope: [1.1, 1, 0.9], power: [0.9, 0.9, 0.9]"),
             ("last", "op: composite, source: a, backdrop: e, opacity: 0.3")]
    lines, first = [], None
    for factor in (1, 2, 4, 8, 16):
        width, height = round(960 * math.sqrt(factor)), round(540 * math.sqrt(factor))
        graph = _graph(width, height, nodes, "last")
        took = _time(lambda: graph.frame(1))
        peak = graph.peak()
        first = first or (took, peak)
        lines.append([f"x {factor}", f"{width} x {height}", measure.milliseconds(took),
                      f"{took / first[0]:.2f}", f"{peak / 2 ** 20:.0f}", f"{peak / first[1]:.2f}",
                      f"{peak / (width * height * 16):.1f}"])
    return measure.table(["pixels", "frame", "ms", "time x", "peak MiB", "memory x",
                          "frames of RGBA"], lines, right=range(2, 7))


def _scene(triangles, samples, width=960, height=540):
    """A sphere of about that many triangles (segments squared) before the camera, lit."""
    segments = max(4, round(math.sqrt(triangles)))
    return _graph(width, height, [
        ("ball", f"op: sphere, radius: 1.6, segments: {segments}"),
        ("lamp", "op: light, type: directional, intensity: 3, position: [2, 3, 4]"),
        ("eye", "op: camera, position: [0, 0, 5], fov: 40"),
        ("stage", "op: group, items: [ball, lamp]"),
        ("last", f"op: render, scene: stage, camera: eye, samples: {samples}")], "last")


def _render_lines(cases, unit):
    lines, first = [], None
    for count, graph in cases:
        took = _time(lambda: graph.frame(1))
        first = first or took
        lines.append([f"{count:,}", measure.milliseconds(took), f"{took / first:.2f}",
                      f"{graph.peak() / 2 ** 20:.0f}"])
    return measure.table([unit, "ms", "time x", "peak MiB"], lines, right=range(4))


def samples():
    return _render_lines(((n, _scene(10000, n)) for n in (1, 4, 16, 64)), "samples a pixel")


def triangles():
    return _render_lines(((n, _scene(n, 4)) for n in (1000, 10000, 100000, 1000000)), "triangles")


def _chain(count):
    nodes = [("n0", "op: solid, color: [0.2, 0.3, 0.4]")]
    nodes += [(f"n{i}", f"op: exposure, image: n{i - 1}, stops: {(i % 7 - 3) / 10}")
              for i in range(1, count)]
    return _graph(64, 36, nodes, f"n{count - 1}")


def _wide(count):
    """Solids put together two by two."""
    leaves = (count + 1) // 2
    nodes = [(f"n{i}", f"op: solid, color: [0.{i % 9}1, 0.2, {i}, 0.5]") for i in range(leaves)]
    level, made = [name for name, _ in nodes], 0
    while len(level) > 1:
        above = []
        for a, b in zip(level[::2], level[1::2]):
            nodes.append((f"c{made}", f"op: composite, source: {a}, backdrop: {b}"))
            above.append(f"c{made}")
            made += 1
        level = above + level[len(level) & ~1:]
    return _graph(64, 36, nodes, level[0])


def nodes():
    """Reading the text, planning and making, a node; a small frame, so that pixels hardly count."""
    lines = []
    for shape, make in (("chain", _chain), ("wide", _wide)):
        for count in (250, 1000, 4000):
            start = time.perf_counter()
            graph = make(count)
            read = time.perf_counter() - start
            plan = _time(lambda: graph.plan(1))
            frame = _time(lambda: graph.frame(1))
            lines.append([shape, f"{count:,}"] +
                         [f"{s / count * 1e6:.2f}" for s in (read, plan, frame)] +
                         [f"{graph.peak() / 2 ** 20:.1f}"])
    return measure.table(["graph", "nodes", "reading, µs a node", "planning, µs a node",
                          "whole frame, µs a node", "peak MiB"], lines, right=range(1, 6))


def frames():
    """30 frames of one run: neither time nor memory may creep."""
    graph = _graph(960, 540, [
        ("a", "op: gradient, stops: [{color: [2, 1, 0.5]}, {color: [0, 0, 0.1]}], "
              "from: [{expr: frame * 10}, 0]"),
        ("b", "op: shimmer, image: a, strength: 6"),
        ("c", "op: blur, image: b, sigma: {expr: 2 + frame / 3}, edge: clamp"),
        ("last", "op: exposure, image: c, stops: {expr: sin(frame)}")], "last",
        cache=256 << 20)
    took, used, peaks = [], [], []
    for number in range(1, 31):
        start = time.perf_counter()
        graph.frame(number)
        took.append(time.perf_counter() - start)
        used.append(ours.lib.bench_memory_used() / 2 ** 20)
        peaks.append(graph.peak() / 2 ** 20)
    lines = [[f"{i + 1} to {i + 10}", measure.milliseconds(statistics.median(took[i:i + 10])),
              f"{max(peaks[i:i + 10]):.0f}", f"{used[i + 9]:.0f}"] for i in (0, 10, 20)]
    return measure.table(["frames", "median ms", "peak MiB", "MiB in use after the last"], lines,
                         right=range(1, 4))


def section():
    return "\n".join(f"#### {title}\n\n{make()}" for title, make in (
        ("Pixels", pixels), ("Samples", samples), ("Triangles", triangles), ("Nodes", nodes),
        ("Frames", frames)))
