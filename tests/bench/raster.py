"""tests/bench/raster.py: a textured, lit sphere of many triangles by us, llvmpipe and Embree."""
import ctypes
import math
import os

import numpy as np

import ours
import pictures
import rivals
from measure import THREADS, Row

RADIUS, DISTANCE, FOV, SIDE = 1.2, 3.0, 50.0, 1024
LIGHT = np.array([2.0, 3.0, 4.0]) / math.sqrt(29)
TAN = math.tan(math.radians(FOV / 2))


class Mesh(ctypes.Structure):
    """rival_mesh"""
    _fields_ = [("vertex_count", ctypes.c_int), ("triangle_count", ctypes.c_int),
                ("positions", ctypes.c_void_p), ("normals", ctypes.c_void_p),
                ("uvs", ctypes.c_void_p), ("triangles", ctypes.c_void_p),
                ("eye", ctypes.c_float * 3), ("light", ctypes.c_float * 3),
                ("tan_half_fov", ctypes.c_float), ("texture_side", ctypes.c_int),
                ("texture", ctypes.c_void_p)]


def texture_at(u, v):
    """Colour where the texture is (u, v): smooth, so that how it is filtered matters little."""
    return np.stack([0.5 + 0.4 * np.cos(2 * np.pi * 6 * u), 0.5 + 0.4 * np.cos(2 * np.pi * 4 * v),
                     0.5 + 0.4 * np.sin(2 * np.pi * 3 * (u + v))])


def make_texture():
    """[row, column, 4] bytes."""
    at = (np.arange(SIDE) + 0.5) / SIDE
    u, v = np.meshgrid(at, at)
    out = np.full((SIDE, SIDE, 4), 255, np.uint8)
    out[..., :3] = np.moveaxis(np.rint(texture_at(u, v) * 255), 0, 2)
    return out


def make_mesh(segments, texture):
    """What our sphere operator documents: u round the equator, v from pole to pole. Kept alive by
    the arrays in .keep."""
    rings = segments // 2
    u, v = np.meshgrid(np.arange(segments + 1) / segments, np.arange(rings + 1) / rings)
    ring = np.sin(np.pi * v)
    normals = np.stack([-ring * np.sin(2 * np.pi * u), np.cos(np.pi * v),
                        -ring * np.cos(2 * np.pi * u)], 2).reshape(-1, 3).astype(np.float32)
    positions = np.ascontiguousarray(normals * np.float32(RADIUS))
    uvs = np.stack([u, v], 2).reshape(-1, 2).astype(np.float32)
    i, j = np.meshgrid(np.arange(rings), np.arange(segments), indexing="ij")
    at, stride = (i * (segments + 1) + j).ravel(), segments + 1
    below = np.stack([at, at + stride, at + stride + 1], 1)[i.ravel() < rings - 1]
    last = np.stack([at, at + stride, at + 1], 1)[i.ravel() == rings - 1]
    above = np.stack([at, at + stride + 1, at + 1], 1)[(i.ravel() > 0) & (i.ravel() < rings - 1)]
    triangles = np.ascontiguousarray(np.concatenate([below, last, above]).astype(np.uint32))
    mesh = Mesh(len(positions), len(triangles), positions.ctypes.data, normals.ctypes.data,
                uvs.ctypes.data, triangles.ctypes.data, (ctypes.c_float * 3)(0, 0, DISTANCE),
                (ctypes.c_float * 3)(*LIGHT), TAN, SIDE, texture.ctypes.data)
    mesh.keep = (positions, normals, uvs, triangles, texture)
    return mesh


def exact_at(ys, xs):
    """Colours at pixel centres from the sphere itself, by the quadratic of a ray."""
    scale = 2 * TAN / pictures.HEIGHT
    d = np.stack([(xs + 0.5 - pictures.WIDTH / 2) * scale,
                  -(ys + 0.5 - pictures.HEIGHT / 2) * scale, -np.ones(len(xs))])
    a, b, c = (d * d).sum(0), -2 * DISTANCE, DISTANCE ** 2 - RADIUS ** 2
    t = (-b - np.sqrt(b * b - 4 * a * c)) / (2 * a)
    n = (np.array([[0], [0], [DISTANCE]]) + t * d) / RADIUS
    u = np.mod(np.arctan2(-n[0], -n[2]) / (2 * np.pi), 1)
    v = np.arccos(np.clip(n[1], -1, 1)) / np.pi
    return texture_at(u, v) * np.maximum(LIGHT @ n, 0)


def probes():
    """Pixels well within the sphere's outline."""
    generator = np.random.default_rng(4)
    most = 0.9 * math.tan(math.asin(RADIUS / DISTANCE)) / TAN * pictures.HEIGHT / 2
    angle, r = generator.random(500) * 2 * np.pi, np.sqrt(generator.random(500)) * most
    return ((pictures.HEIGHT / 2 + r * np.sin(angle)).astype(int),
            (pictures.WIDTH / 2 + r * np.cos(angle)).astype(int))


def _graph(threads, segments, samples):
    position = ", ".join(f"{x:.9g}" for x in LIGHT * 10)
    return ours.Graph(threads, f"""lampblack: 1
frame: {{size: [{pictures.WIDTH}, {pictures.HEIGHT}], rate: 30, range: [1, 1000]}}
nodes:
  picture: {{op: given, index: 2}}
  map: {{op: uv, image: picture}}
  paint: {{op: material, model: blinn, diffuse: [1, 1, 1], diffuse-map: map, alpha: opaque}}
  ball: {{op: sphere, radius: {RADIUS}, segments: {segments}, material: paint}}
  lamp: {{op: light, type: directional, intensity: 1, position: [{position}], target: [0, 0, 0]}}
  eye: {{op: camera, position: [0, 0, {DISTANCE}], fov: {FOV}}}
  stage: {{op: group, items: [ball, lamp]}}
  last: {{op: render, scene: stage, camera: eye, samples: {samples}}}
outputs:
  out: {{image: last, file: out.exr, range: 1}}
""")


def _render_seconds(graph):
    """What the render node took: making the mesh and the texture's pyramid is not the work."""
    def total():
        return sum(seconds for name, _, seconds, _ in graph.stats() if name == "last")
    before = total()
    graph.frame(1)
    return total() - before


def _check(row, who, found, places, right):
    """`found`: [3.., row, column]."""
    row.check(who, np.max(np.abs(found[:3, places[0], places[1]] - right)), 2e-2,
              "the sphere in closed form")


def raster(name, segments, samples):
    row = Row(f"raster-{name}-{samples}", f"raster, {name} triangles, {samples} samples")
    texture = make_texture()
    picture = ours.Picture(np.moveaxis(texture[..., :3], 2, 0).astype(np.float32) / 255, "RGB")
    ours.lib.bench_give(2, picture.handle)
    mesh, places = make_mesh(segments, texture), probes()
    right = exact_at(*places)
    graphs = {n: _graph(n, segments, samples) for n in THREADS}
    _check(row, "ours", graphs[THREADS[-1]].picture(1).planes(pictures.SHAPE), places, right)
    row.add("ours", lambda n: _render_seconds(graphs[n]), THREADS)
    row.notes.append("ours: the render node alone")
    out = np.empty((pictures.HEIGHT, pictures.WIDTH, 4), np.float32)
    if samples == 4:
        _add_llvmpipe(row, mesh, out, places, right)
    else:
        _add_embree(row, mesh, out, places, right)
    row.keep = mesh, picture, out
    return row.measure(least=3, most=7)


def _add_llvmpipe(row, mesh, out, places, right):
    if not rivals.gl:
        row.missing("llvmpipe")
        return
    os.environ["LP_NUM_THREADS"] = str(THREADS[-1])
    handle = rivals.gl.rival_gl_new(ctypes.byref(mesh), pictures.WIDTH, pictures.HEIGHT, 4)
    if not handle:
        row.missing("llvmpipe", "OpenGL without a window cannot be had here")
        return
    row.cleanup.append(lambda: rivals.gl.rival_gl_free(handle))
    name = rivals.gl.rival_gl_name(handle).decode()

    def run(_):
        if rivals.gl.rival_gl_run(handle, out.ctypes.data) != 0:
            raise RuntimeError("OpenGL failed")
    run(1)
    _check(row, "llvmpipe", np.moveaxis(out, 2, 0), places, right)
    row.add("llvmpipe", run, THREADS[-1:])
    row.notes.append(f"llvmpipe: {name}; draws, resolves, reads back floats; mesh and mipmaps are "
                     "there already")


def _add_embree(row, mesh, out, places, right):
    if not rivals.embree:
        row.missing("embree")
        return
    handle = rivals.embree.rival_embree_new(ctypes.byref(mesh))
    row.cleanup.append(lambda: rivals.embree.rival_embree_free(handle))

    def run(shade, n):
        if rivals.embree.rival_embree_run(handle, pictures.WIDTH, pictures.HEIGHT, shade, n,
                                          out.ctypes.data) != 0:
            raise RuntimeError("Embree failed")
    run(1, 1)
    _check(row, "embree", np.moveaxis(out, 2, 0), places, right)
    row.add("embree", lambda n: run(1, n), THREADS)
    row.add("embree, bare rays", lambda n: run(0, n), THREADS)
    row.notes.append("embree: 16 rays a pixel; its tree is built beforehand; no mipmaps")


def rows():
    for samples in (4, 16):
        for name, segments in (("10k", 100), ("100k", 316), ("1m", 1000)):
            yield lambda name=name, segments=segments, samples=samples: raster(name, segments,
                                                                               samples)
