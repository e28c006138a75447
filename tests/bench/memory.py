"""tests/bench/memory.py: what the machine's memory can do, and what a frame needs of it."""
import os
import subprocess
import sys

import numpy as np

import measure
import ours
from measure import THREADS

COUNT = 64 << 20  # floats in an array: 256 MiB, beyond caches


def _aligned(count):
    raw = np.empty(count + 16, np.float32)
    start = -raw.ctypes.data % 64 // 4
    return raw[start:start + count]


def bandwidth():
    """{"copy.2": bytes a second, ...}: streaming and plain stores, and the table."""
    out, a, b = (_aligned(COUNT) for _ in range(3))
    for array in (out, a, b):
        array[:] = 1
    row = measure.Row("memory", "memory")
    moved = {}
    other = b.ctypes.data
    for who, second, streaming, arrays in (
            ("copy", None, 1, 2), ("copy, ordinary stores", None, 0, 2),
            ("triad", other, 1, 3), ("triad, ordinary stores", other, 0, 3)):
        row.add(who, lambda n, second=second, streaming=streaming: ours.good(ours.lib.bench_stream(
            ours.bench(n), out.ctypes.data, a.ctypes.data, second, 0.5, COUNT, streaming)), THREADS)
        moved[who] = arrays * COUNT * 4
    row.measure(seconds=3, most=10)
    ours.lib.bench_memory_trim()
    speeds = {c.name: moved[c.who] / c.median for c in row.contenders}
    lines = []
    for c in row.contenders:
        least, most = moved[c.who] / max(c.seconds) / 1e9, moved[c.who] / min(c.seconds) / 1e9
        lines.append([c.who, c.threads, f"{speeds[c.name] / 1e9:.1f}",
                      f"{least:.1f} to {most:.1f}"])
    return speeds, measure.table(["pass", "threads", "GB/s", "from, to"], lines, right=(1, 2))


def nearness(rows, speeds):
    """How much of the copy's bandwidth each primitive's least traffic makes."""
    most = THREADS[-1]
    lines = []
    for row in rows:
        took = row.find(f"ours.{most}")
        if took and row.moved_bytes:
            rate = row.moved_bytes / took
            lines.append([row.title, f"{row.moved_bytes / 1e6:.0f}", measure.milliseconds(took),
                          f"{rate / 1e9:.1f}", f"{100 * rate / speeds[f'copy.{most}']:.0f} %"])
    return measure.table(["work", "MB it must move", f"ms, {most} threads", "GB/s", "of the copy"],
                         lines, right=(1, 2, 3, 4))


def _graph_into(folder):
    """Kiln Hours with its files found from anywhere and its results in `folder`."""
    os.makedirs(folder, exist_ok=True)
    with open(ours.KILN, encoding="utf-8") as file:
        text = file.read()
    path = os.path.join(folder, "kiln-hours.yaml")
    with open(path, "w", encoding="utf-8") as file:
        file.write(text.replace("assets/", os.path.join(os.path.dirname(ours.KILN), "assets/")))
    return path


# A process's peak begins with that of the one it was forked from, so a small one stands between.
_LAUNCH = """import os, subprocess, sys
child = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)
_, status, usage = os.wait4(child.pid, 0)
print(usage.ru_maxrss if status == 0 else -1)
"""


def resident(build):
    """Peak resident set of the program itself for Kiln Hours' frame 240, a process each,
    with a budget of 4 GiB."""
    graph = _graph_into(os.path.join(build, "bench-out"))
    lines = []
    for scale, size in (("1/2", "960 x 540"), ("1", "1920 x 1080"), ("2", "3840 x 2160"),
                        ("4", "7680 x 4320")):
        command = [os.path.join(build, "lampblack"), "render", graph, "--frames", "240",
                   "--outputs", "master", "--scale", scale, "--progress", "none", "--memory", "4G"]
        made = subprocess.run([sys.executable, "-c", _LAUNCH] + command, capture_output=True,
                              text=True, check=False)
        kilobytes = int(made.stdout or -1)
        lines.append([size, f"{kilobytes / 1024:.0f}" if kilobytes > 0 else
                      "failed: " + (made.stderr.splitlines() or ["no word"])[0]])
    return measure.table(["frame", "peak resident MiB"], lines, right=(1,))
