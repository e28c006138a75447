"""tests/bench/rivals.py: the other libraries; each is None where it is not installed."""
import ctypes
import os
import numpy as np

try:
    import cv2
except ImportError:
    cv2 = None

spng = fftw = exr = gl = embree = vips = None
_pointer, _int, _size = ctypes.c_void_p, ctypes.c_int, ctypes.c_size_t
_out, _count = ctypes.POINTER(ctypes.c_void_p), ctypes.POINTER(ctypes.c_size_t)


def _find(path):
    try:
        return ctypes.CDLL(path)
    except OSError:
        return None


def load(build):
    global spng, fftw, exr, gl, embree, vips
    folder = os.path.join(build, "tests", "bench")
    spng = _find(os.path.join(folder, "libbench-spng.so"))
    fftw = _find(os.path.join(folder, "libbench-fftw.so"))
    exr = _find(os.path.join(folder, "libbench-exr.so"))
    if spng:
        spng.rival_spng_encode.argtypes = [_pointer] + [_int] * 5 + [_out, _count]
        spng.rival_spng_decode.argtypes = [_pointer, _size, _pointer, _size]
        spng.rival_spng_free.argtypes = [_pointer]
    if fftw:
        fftw.rival_fftw_new.argtypes = [_pointer, _int, _int, _int]
        fftw.rival_fftw_new.restype = _pointer
        fftw.rival_fftw_run.argtypes = [_pointer, _pointer, _pointer, _int, _int, _int]
        fftw.rival_fftw_free.argtypes = [_pointer]
    if exr:
        exr.rival_exr_write.argtypes = [_pointer] + [_int] * 4 + [_out, _count]
        exr.rival_exr_read.argtypes = [_pointer, _size] + [_int] * 3 + [_pointer]
        exr.rival_exr_free.argtypes = [_pointer]
    gl = _find(os.path.join(folder, "libbench-gl.so"))
    embree = _find(os.path.join(folder, "libbench-embree.so"))
    if gl:
        gl.rival_gl_new.argtypes = [_pointer, _int, _int, _int]
        gl.rival_gl_new.restype = _pointer
        gl.rival_gl_run.argtypes = [_pointer, _pointer]
        gl.rival_gl_name.argtypes = [_pointer]
        gl.rival_gl_name.restype = ctypes.c_char_p
        gl.rival_gl_free.argtypes = [_pointer]
        gl.rival_stage_new.argtypes = [_int, _int]
        gl.rival_stage_new.restype = _pointer
        gl.rival_stage_add.argtypes = [_pointer, _pointer]
        gl.rival_stage_run.argtypes = [_pointer, _int, _int, _pointer, _pointer]
        gl.rival_stage_free.argtypes = [_pointer]
    if embree:
        embree.rival_embree_new.argtypes = [_pointer]
        embree.rival_embree_new.restype = _pointer
        embree.rival_embree_free.argtypes = [_pointer]
        embree.rival_embree_run.argtypes = [_pointer] + [_int] * 4 + [_pointer]
        embree.rival_embree_free.argtypes = [_pointer]
    vips = Vips.start()


def cv_threads(count):
    cv2.setNumThreads(count)


def spng_encode(pixels, level, keep=True):
    """`pixels`: [row, column, channel] of uint8 or uint16."""
    address, count = ctypes.c_void_p(), _size()
    status = spng.rival_spng_encode(pixels.ctypes.data, pixels.shape[1], pixels.shape[0],
                                    pixels.shape[2], pixels.itemsize * 8, level,
                                    ctypes.byref(address), ctypes.byref(count))
    if status != 0:
        raise RuntimeError(f"libspng answered {status}")
    data = ctypes.string_at(address, count.value) if keep else None
    spng.rival_spng_free(address)
    return data


def spng_decode(data, shape, kind):
    out = np.empty(shape, kind)
    if spng.rival_spng_decode(data, len(data), out.ctypes.data, out.nbytes) != 0:
        raise RuntimeError("libspng cannot read it")
    return out


def exr_write(halves, level, threads, keep=True):
    address, count = ctypes.c_void_p(), _size()
    status = exr.rival_exr_write(halves.ctypes.data, halves.shape[2], halves.shape[1], level,
                                 threads, ctypes.byref(address), ctypes.byref(count))
    if status != 0:
        raise RuntimeError("OpenEXR cannot write it")
    data = ctypes.string_at(address, count.value) if keep else None
    exr.rival_exr_free(address)
    return data


def exr_read(data, shape, threads, out=None):
    out = np.empty(shape, np.float32) if out is None else out
    if exr.rival_exr_read(data, len(data), shape[2], shape[1], threads, out.ctypes.data) != 0:
        raise RuntimeError("OpenEXR cannot read it")
    return out


class Fftw:
    """Convolution with one kernel, [2 reach + 1, 2 reach + 1], in tiles of that many pixels."""

    def __init__(self, kernel, threads, tile):
        kernel = np.ascontiguousarray(kernel, np.float32)
        self.tile = tile
        self.handle = fftw.rival_fftw_new(kernel.ctypes.data, kernel.shape[0] // 2, tile, threads)
        if not self.handle:
            raise RuntimeError("FFTW cannot plan it")

    def __del__(self):
        fftw.rival_fftw_free(self.handle)

    def run(self, planes, out):
        count, height, width = planes.shape
        fftw.rival_fftw_run(self.handle, planes.ctypes.data, out.ctypes.data, width, height, count)


class Vips:
    """libvips through its C functions."""

    FLOAT, SCRGB, OVER = 6, 28, 2

    @staticmethod
    def start():
        lib = _find("libvips.so.42")
        if not lib or lib.vips_init(b"bench") != 0:
            return None
        lib.vips_cache_set_max(0)  # it must do the work every time
        return Vips(lib)

    def __init__(self, lib):
        self.lib, self.kept = lib, []
        self.gobject = ctypes.CDLL("libgobject-2.0.so.0")
        self.version = ".".join(str(lib.vips_version(i)) for i in range(3))
        lib.vips_image_new_from_memory.restype = ctypes.c_void_p
        lib.vips_image_new_from_memory.argtypes = [_pointer, _size, _int, _int, _int, _int]
        lib.vips_image_new_memory.restype = ctypes.c_void_p
        lib.vips_image_write.argtypes = [_pointer, _pointer]
        lib.vips_image_write_to_memory.argtypes = [_pointer, _count]
        lib.vips_image_write_to_memory.restype = ctypes.c_void_p
        self.gobject.g_object_unref.argtypes = [_pointer]

    def threads(self, count):
        self.lib.vips_concurrency_set(count)

    def free(self, image):
        self.gobject.g_object_unref(image)

    def image(self, pixels):
        """Of [row, column, channel] floats, kept, as linear light."""
        self.kept.append(pixels)
        handle = self.lib.vips_image_new_from_memory(pixels.ctypes.data, pixels.nbytes,
                                                     pixels.shape[1], pixels.shape[0],
                                                     pixels.shape[2], self.FLOAT)
        copy = self.call("vips_copy", handle, options=[b"interpretation", _int(self.SCRGB)])
        self.free(handle)
        return copy

    def call(self, name, *inputs, options=()):
        """NAME(inputs..., &out, options..., NULL); inputs after None come behind `out`."""
        out = ctypes.c_void_p()
        before, after = list(inputs), []
        if None in before:
            cut = before.index(None)
            before, after = before[:cut], before[cut + 1:]
        arguments = [ctypes.c_void_p(x) if isinstance(x, int) else x for x in before]
        if getattr(self.lib, name)(*arguments, ctypes.byref(out), *after, *options,
                                   ctypes.c_void_p(None)) != 0:
            raise RuntimeError(f"{name} failed")
        return out.value

    def make(self, image):
        """Computes all pixels into memory, and lets them go."""
        memory = ctypes.c_void_p(self.lib.vips_image_new_memory())
        if self.lib.vips_image_write(image, memory) != 0:
            raise RuntimeError("libvips cannot make it")
        self.free(memory)

    def pixels(self, image, shape):
        count = _size()
        address = self.lib.vips_image_write_to_memory(image, ctypes.byref(count))
        data = np.frombuffer(ctypes.string_at(address, count.value), np.float32).reshape(shape)
        ctypes.CDLL("libglib-2.0.so.0").g_free(ctypes.c_void_p(address))
        return data
