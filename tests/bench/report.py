"""tests/bench/report.py BUILD [SECTION...]: the report, Markdown on standard output. See run."""
import itertools
import os
import platform
import sys
import time

sys.dont_write_bytecode = True
import numpy as np  # noqa: E402

import files  # noqa: E402
import filters  # noqa: E402
import frames  # noqa: E402
import growth  # noqa: E402
import many  # noqa: E402
import measure  # noqa: E402
import memory  # noqa: E402
import ours  # noqa: E402
import pixels  # noqa: E402
import raster  # noqa: E402
import rivals  # noqa: E402
import targets  # noqa: E402

# Sections, and how the keys of their targets begin.
SECTIONS = {
    "primitives": ("source", "chain", "gaussian", "disc", "defocus", "warp", "exr", "png"),
    "raster": ("raster",),
    "frames": ("frame", "assembled"),
    "growth": (),
    "memory": (),
    "threads": (),
}


def progress(text):
    print(f"bench: {text}", file=sys.stderr, flush=True)


def machine():
    with open("/proc/cpuinfo", encoding="ascii", errors="replace") as file:
        names = [line.split(":", 1)[1].strip() for line in file if line.startswith("model name")]
    versions = [f"numpy {np.__version__}",
                f"OpenCV {rivals.cv2.__version__}" if rivals.cv2 else "no OpenCV",
                f"libvips {rivals.vips.version}" if rivals.vips else "no libvips",
                "FFTW" if rivals.fftw else "no FFTW", "OpenEXR" if rivals.exr else "no OpenEXR",
                "libspng" if rivals.spng else "no libspng",
                "llvmpipe" if rivals.gl else "no OpenGL",
                "Embree" if rivals.embree else "no Embree"]
    return (f"{time.strftime('%Y-%m-%d')}; {names[0] if names else platform.machine()}, "
            f"{len(os.sched_getaffinity(0))} processors; load before the run "
            f"{os.getloadavg()[0]:.1f}. Beside {', '.join(versions)}.\n")


def make_rows(makers):
    rows = []
    for make in makers:
        made = make()
        for row in made if isinstance(made, list) else [made]:
            progress(row.title)
            rows.append(row)
    return rows


HOW = """Every contender does the work once a round, in turn, and the next round goes the other way
round; a median is of all rounds. Both sides were checked against values worked out in double
precision from the definitions before anything was timed; a side that is wrong is not timed. Frames
are 1920 x 1080 RGBA floats, each side's in the layout it likes best, and results go into memory
that is there already where a library allows it. "of ours" is the median over ours with as many
threads. CPU time is of all threads, and steadier where the machine has other work; a target's
verdict is by the clock. OpenCV's arithmetic, blur and filter stay on one core, as do numpy and
libspng.
"""

RASTER = """A sphere with a light from far away and one mipmapped texture fills most of 1920 x 1080.
"""


def main(build, sections):
    ours.load(build)
    rivals.load(build)
    print("## The report\n\n" + machine())
    speeds, bandwidth = memory.bandwidth()
    progress("memory bandwidth")
    rows, shown = [], []
    if "primitives" in sections:
        made = make_rows(itertools.chain(pixels.rows(), filters.rows(), files.rows()))
        rows += made
        shown += ["### Primitives\n", measure.comparison(made), "#### Checks\n",
                  measure.checks(made), "#### How near the memory's limit\n",
                  memory.nearness(made, speeds)]
    if "raster" in sections:
        drawn = make_rows(raster.rows())
        rows += drawn
        shown += ["### Raster\n", RASTER, measure.comparison(drawn), "#### Checks\n",
                  measure.checks(drawn)]
    if "frames" in sections:
        whole = make_rows(frames.rows())
        rows += whole
        shown += ["### Whole frames\n"] + [frames.section(row) for row in whole]
    if "growth" in sections:
        progress("growth")
        shown += ["### Growth\n", growth.section()]
    if "memory" in sections:
        progress("resident memory")
        shown += ["### Memory of the program\n", memory.resident(build)]
    if "threads" in sections:
        progress("threads that are not there")
        shown += ["### Many threads\n", many.section(build)]
    if keys := [key for name in sections for key in SECTIONS[name]]:
        print("### Targets\n\n" + targets.table(rows, keys))
        print("### How\n\n" + HOW)
    print("### Memory bandwidth\n\nArrays of 256 MiB, through our own threads.\n\n" + bandwidth)
    print("\n".join(shown))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:] or list(SECTIONS))
