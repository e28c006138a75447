"""tests/bench/ours.py: Lampblack's side, through ours.h."""
import ctypes
import os
import numpy as np

ROOT = os.path.normpath(os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", ".."))
KILN = os.path.join(ROOT, "examples", "kiln-hours", "kiln-hours.yaml")
BILINEAR, CUBIC = 1, 2                # lb_filter
DEPTH_8, DEPTH_16, DEPTH_HALF = 0, 1, 2  # lb_depth
COMPRESSION_ZIP = 3                   # lb_compression
VIEW_SRGB, VIEW_RAW = 0, 3            # lb_view

_pointer, _int, _double, _size = ctypes.c_void_p, ctypes.c_int, ctypes.c_double, ctypes.c_size_t
_text = ctypes.c_char_p
_out = ctypes.POINTER(ctypes.c_void_p)
_SIGNATURES = {
    "bench_new": (_pointer, [_int]),
    "bench_free": (None, [_pointer]),
    "bench_picture": (_pointer, [_int, _int, _text, _pointer]),
    "bench_pixels": (None, [_pointer, _text, _pointer]),
    "bench_picture_free": (None, [_pointer]),
    "bench_gaussian": (_int, [_pointer, _pointer, _double, _out]),
    "bench_disc": (_int, [_pointer, _pointer, _double, _out]),
    "bench_defocus": (_int, [_pointer, _pointer, _pointer, _double, _out]),
    "bench_warp": (_int, [_pointer, _pointer, _pointer, _int, _out]),
    "bench_over": (_int, [_pointer, _pointer, _pointer, _out]),
    "bench_stream": (_int, [_pointer, _pointer, _pointer, _pointer, ctypes.c_float, _size, _int]),
    "bench_encode": (_int, [_pointer, _pointer, _text, _int, _int, _int, _out,
                            ctypes.POINTER(_size)]),
    "bench_decode": (_int, [_pointer, _text, _pointer, _size, _out]),
    "bench_bytes_free": (None, [_pointer]),
    "bench_give": (None, [_int, _pointer]),
    "bench_graph_new": (_pointer, [_pointer, _text, _text, _double, _size, _text]),
    "bench_graph_free": (None, [_pointer]),
    "bench_graph_frame": (_int, [_pointer, _int, _out]),
    "bench_graph_node_frame": (_int, [_pointer, _text, _int, _out]),
    "bench_scene_new": (_pointer, [_pointer, _text, _int]),
    "bench_scene_free": (None, [_pointer]),
    "bench_graph_plan": (_int, [_pointer, _int]),
    "bench_graph_encode": (_int, [_pointer, _int, _pointer, _out, ctypes.POINTER(_size)]),
    "bench_graph_nodes": (_int, [_pointer]),
    "bench_graph_node": (_text, [_pointer, _int, ctypes.POINTER(_text)]),
    "bench_graph_seconds": (_double, [_pointer, _int, ctypes.POINTER(_double)]),
    "bench_graph_outputs": (_int, [_pointer]),
    "bench_graph_output": (_text, [_pointer, _int]),
    "bench_memory_peak": (_size, []),
    "bench_memory_used": (_size, []),
    "bench_memory_trim": (None, []),
}
lib = None
_benches = {}


def load(build):
    """`build`: the build folder."""
    global lib
    lib = ctypes.CDLL(os.path.join(build, "tests", "bench", "libbench-ours.so"))
    for name, (result, arguments) in _SIGNATURES.items():
        function = getattr(lib, name)
        function.restype, function.argtypes = result, arguments


def bench(threads):
    """The bench of that many threads, kept."""
    if threads not in _benches:
        _benches[threads] = lib.bench_new(threads)
    return _benches[threads]


def good(status):
    if status != 0:
        raise RuntimeError(f"Lampblack answered status {status}")


class Picture:
    """An lb_image; planes are [channel, row, column] floats."""

    def __init__(self, planes=None, channels="RGBA", handle=None):
        self.channels = channels
        self.handle = handle
        if handle is None:
            planes = np.ascontiguousarray(planes, np.float32)
            self.shape = planes.shape
            self.handle = lib.bench_picture(planes.shape[2], planes.shape[1], channels.encode(),
                                            planes.ctypes.data)

    def __del__(self):
        lib.bench_picture_free(self.handle)

    def planes(self, shape):
        out = np.empty(shape, np.float32)
        lib.bench_pixels(self.handle, self.channels.encode(), out.ctypes.data)
        return out


def run(name, threads, *arguments):
    """Calls bench_NAME and lets the result go."""
    good(getattr(lib, name)(bench(threads), *arguments, None))


def result(name, threads, shape, *arguments, channels="RGBA"):
    """Calls bench_NAME; the result's planes."""
    handle = ctypes.c_void_p()
    good(getattr(lib, name)(bench(threads), *arguments, ctypes.byref(handle)))
    return Picture(channels=channels, handle=handle).planes(shape)


def encode(threads, picture, name, depth, compression, view):
    """The file's bytes."""
    address, count = ctypes.c_void_p(), _size()
    good(lib.bench_encode(bench(threads), picture.handle, name.encode(), depth, compression, view,
                          ctypes.byref(address), ctypes.byref(count)))
    data = ctypes.string_at(address, count.value)
    lib.bench_bytes_free(address)
    return data


def encode_only(threads, picture, name, depth, compression, view):
    address, count = ctypes.c_void_p(), _size()
    good(lib.bench_encode(bench(threads), picture.handle, name.encode(), depth, compression, view,
                          ctypes.byref(address), ctypes.byref(count)))
    lib.bench_bytes_free(address)


def decode(threads, name, data, shape, channels="RGBA"):
    handle = ctypes.c_void_p()
    good(lib.bench_decode(bench(threads), name.encode(), data, len(data), ctypes.byref(handle)))
    return Picture(channels=channels, handle=handle).planes(shape)


class Graph:
    """A graph and its run."""

    def __init__(self, threads, text=None, scale=1.0, cache=0, setting=None):
        path = b"generated.yaml" if text else KILN.encode()
        self.handle = lib.bench_graph_new(bench(threads), path, text and text.encode(), scale,
                                          cache, setting and setting.encode())
        if not self.handle:
            raise RuntimeError("the graph was refused")

    def __del__(self):
        if self.handle:
            lib.bench_graph_free(self.handle)

    def frame(self, number):
        good(lib.bench_graph_frame(self.handle, number, None))

    def picture(self, number):
        handle = ctypes.c_void_p()
        good(lib.bench_graph_frame(self.handle, number, ctypes.byref(handle)))
        return Picture(handle=handle)

    def node(self, name, number):
        """What one node makes."""
        handle = ctypes.c_void_p()
        good(lib.bench_graph_node_frame(self.handle, name.encode(), number, ctypes.byref(handle)))
        return Picture(handle=handle)

    def plan(self, number):
        good(lib.bench_graph_plan(self.handle, number))

    def encode(self, output, picture):
        address, count = ctypes.c_void_p(), _size()
        good(lib.bench_graph_encode(self.handle, output, picture.handle, ctypes.byref(address),
                                    ctypes.byref(count)))
        lib.bench_bytes_free(address)
        return count.value

    def outputs(self):
        return [lib.bench_graph_output(self.handle, i).decode()
                for i in range(lib.bench_graph_outputs(self.handle))]

    def peak(self):
        """Most bytes in use at a time since the last frame began."""
        return lib.bench_memory_peak()

    def stats(self):
        """(node, operator, seconds of all frames so far, peak bytes) of each node."""
        rows = []
        for i in range(lib.bench_graph_nodes(self.handle)):
            op, peak = _text(), _double()
            name = lib.bench_graph_node(self.handle, i, ctypes.byref(op))
            seconds = lib.bench_graph_seconds(self.handle, i, ctypes.byref(peak))
            rows.append((name.decode(), op.value.decode(), seconds, peak.value))
        return rows


def lib_decode(threads, name, data):
    good(lib.bench_decode(bench(threads), name.encode(), data, len(data), None))
