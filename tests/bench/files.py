"""tests/bench/files.py: EXR and PNG, between floats or bytes in memory and a file in memory."""
import numpy as np

import ours
import pictures
import rivals
from measure import THREADS, Row

EXR_LEVEL = 4  # of zlib, for the C++ library: its usual 6 takes longer for a hundredth of the size


def mismatch(found, right):
    """0 when every value is the same."""
    return 0.0 if np.array_equal(found, right) else float(np.max(np.abs(
        found.astype(np.float64) - right.astype(np.float64)))) or 1.0


def exr():
    """Rows for writing and reading."""
    write = Row("exr-write", "EXR half ZIP, write", pictures.BYTES)
    read = Row("exr-read", "EXR half ZIP, read", pictures.BYTES)
    planes = pictures.natural()
    rounded = planes.astype(np.float16)  # IEEE 754, to the nearest, by numpy
    right = rounded.astype(np.float32)
    halves = np.ascontiguousarray(rounded).view(np.uint16)
    picture = ours.Picture(planes)
    how = ("a.exr", ours.DEPTH_HALF, ours.COMPRESSION_ZIP, ours.VIEW_RAW)
    mine = ours.encode(1, picture, *how)
    write.add("ours", lambda n: ours.encode_only(n, picture, *how), THREADS)
    read.add("ours", lambda n: ours.lib_decode(n, "a.exr", theirs or mine), THREADS)
    theirs = None
    if rivals.exr:
        theirs = rivals.exr_write(halves, EXR_LEVEL, 1)
        out = np.empty(planes.shape, np.float32)
        write.check("ours", mismatch(rivals.exr_read(mine, planes.shape, 1), right), 0,
                    "numpy's rounding to half, read by OpenEXR")
        write.check("openexr", mismatch(ours.decode(1, "a.exr", theirs, planes.shape), right), 0,
                    "numpy's rounding to half, read by ours")
        read.check("openexr", mismatch(rivals.exr_read(theirs, planes.shape, 1), right), 0,
                   "numpy's halves")
        write.add("openexr", lambda n: rivals.exr_write(halves, EXR_LEVEL, n, False), THREADS)
        read.add("openexr", lambda n: rivals.exr_read(theirs, planes.shape, n, out), THREADS)
        write.notes.append(f"openexr: zlib level {EXR_LEVEL}, given ready halves; its file "
                           f"{len(theirs):,} bytes, ours {len(mine):,}, from floats")
        read.notes.append("both read OpenEXR's file to planes of floats")
    else:
        write.missing("openexr")
        read.missing("openexr")
    read.check("ours", mismatch(ours.decode(1, "a.exr", theirs or mine, planes.shape), right), 0,
               "numpy's halves")
    write.measure(seconds=3)
    read.measure()
    return [write, read]


def png(bits):
    row = Row(f"png-{bits}", f"PNG, {bits} bits, write", pictures.BYTES * 3 // 4)
    # A signal between 0 and 1, by a square root for the eye's sake.
    signal = np.sqrt(np.clip(pictures.natural()[:3], 0, 1)).astype(np.float32)
    most = 2 ** bits - 1
    kind = np.uint8 if bits == 8 else np.uint16
    right = np.rint(signal.astype(np.float64) * most).astype(kind)
    pixels = pictures.interleaved(right)
    picture = ours.Picture(signal, "RGB")
    how = ("a.png", ours.DEPTH_8 if bits == 8 else ours.DEPTH_16, 0, ours.VIEW_RAW)
    mine = ours.encode(1, picture, *how)
    row.add("ours", lambda n: ours.encode_only(n, picture, *how), THREADS)
    if rivals.spng:
        theirs = rivals.spng_encode(pixels, 6)
        # float32 times `most` may round a tie the other way: a step is allowed for, not counted.
        row.check("ours", np.max(np.abs(
            rivals.spng_decode(mine, pixels.shape, kind).astype(int) - pixels)), 1,
            "rounded in double, in steps; read by libspng")
        row.check("libspng", mismatch(rivals.spng_decode(theirs, pixels.shape, kind), pixels), 0,
                  "the bytes it was given")
        row.check("ours", max(0, len(mine) / len(theirs) - 1), 0.10,
                  "file size beyond libspng's at level 6")
        row.add("libspng", lambda _: rivals.spng_encode(pixels, 6, False))
        row.notes.append(f"libspng: level 6, given ready bytes; its file {len(theirs):,} bytes, "
                         f"ours {len(mine):,}, from floats")
    else:
        row.missing("libspng")
    row.measure(seconds=3)
    return row


def rows():
    yield exr
    yield lambda: png(8)
    yield lambda: png(16)
