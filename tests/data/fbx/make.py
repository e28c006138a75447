#!/usr/bin/env python3
"""Writes the FBX files of this folder. Run it here after changing a scene:

    python3 make.py

Scenes are of an invented pottery. Every number that a test expects stands here.
"""

import math
import struct
import zlib

from parts import *
from write import A, Bits, Flag, L, N, Named, Short, save


# Every value kind: integers of each width, numbers, texts, bytes, arrays, nodes in nodes.
def nodes():
    return [
        header(7400),
        N("Values", Flag(1), Short(-7), 123456789, L(-1234567890123456789), 0.1, "a \"b\"",
          N("Inner", "deep", N("Inner", 3)), N("Empty")),
        N("Bytes", bytes(range(256)) * 20),
        N("Floats", A("f", [0.5, -2.25, 1e-3, 16777216.0])),
        N("Doubles", A("d", [math.pi, -1e300, 0.0, 5e-324], pack=False)),
        N("Ints", A("i", list(range(-500, 500)))),
        N("Longs", A("l", [0, 46186158000 * 100, -(1 << 62), (1 << 53) + 1])),
        N("Bools", A("b", [0, 1, 1, 0])),
        N("None", A("d", [])),
    ]


save("nodes", nodes())


def shapes():
    """Layers of every mapping; z up, centimetres. A box of two glazes, a concave plate, a jug's
    lid without normals, which hangs on no material; the box twice more, once with one glaze."""
    normals = [[0, 0, -1], [0, 0, 1], [0, -1, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0]]
    box = geometry(
        11, "box", [(50 * x, 50 * y, 50 * z) for x, y, z in BOX], SIDES,
        layer("Normal", "Normals", "NormalsIndex", "ByPolygonVertex",
              [c for n in normals for _ in range(4) for c in n]),
        layer("UV", "UV", "UVIndex", "ByPolygonVertex", [0, 0, 1, 0, 1, 1, 0, 1],
              [0, 1, 2, 3] * 6, name="glaze"),
        layer("UV", "UV", "UVIndex", "ByVertice", [x for q in BOX for x in q[:2]], number_=1,
              name="wear"),
        layer("Color", "Colors", "ColorIndex", "ByPolygon", [1, 0.5, 0.25, 1, 0, 0, 0, 1],
              [0, 0, 0, 1, 1, 1]),
        layer("Material", "Materials", None, "ByPolygon", [0, 0, 1, 1, 1, 1]))
    plate = geometry(
        12, "plate", [(0, 0, 0), (40, 0, 0), (40, 40, 0), (20, 10, 0), (0, 40, 0), (60, 0, 0)],
        [[0, 1, 2, 3, 4], [1, 5, 2]],
        layer("Normal", "Normals", "NormalsIndex", "AllSame", [0, 0, 1]),
        layer("Material", "Materials", None, "AllSame", [0]))
    lid = geometry(13, "lid", [(0, 0, 10), (30, 0, 10), (0, 30, 10)], [[0, 1, 2]])
    objects = [
        model(1, "box", "Mesh", lcl("Translation", 100, 0, 50)), box,
        model(2, "plate", "Mesh", vector("GeometricTranslation", 0, 0, 5),
              vector("GeometricScaling", 2, 1, 1)), plate,
        model(3, "lid", "Mesh"), lid,
        model(4, "twin", "Mesh", lcl("Translation", 300, 0, 50)),
        model(5, "other", "Mesh", lcl("Translation", 500, 0, 50)),
        N("Material", L(21), Named("celadon", "Material"), "", N("ShadingModel", "lambert"),
          N("Properties70", color("DiffuseColor", 0.2, 0.4, 0.3))),
        N("Material", L(22), Named("tenmoku", "Material"), "", N("ShadingModel", "phong"),
          N("Properties70", color("DiffuseColor", 0.1, 0.05, 0.02), number("DiffuseFactor", 0.5),
            color("SpecularColor", 1, 1, 1), number("SpecularFactor", 0.25),
            number("ShininessExponent", 30), color("EmissiveColor", 0.5, 0.1, 0),
            number("EmissiveFactor", 2), number("TransparencyFactor", 0.25),
            color("TransparentColor", 1, 1, 1)))]
    links = [oo(1, 0), oo(11, 1), oo(21, 1), oo(22, 1), oo(2, 0), oo(12, 2), oo(21, 2), oo(3, 0),
             oo(13, 3), oo(4, 0), oo(11, 4), oo(21, 4), oo(22, 4), oo(5, 0), oo(11, 5), oo(22, 5)]
    return document(settings(*Z_UP, number("UnitScaleFactor", 1)), [], objects, links)


def rig():
    """Transforms; y up, metres. What hangs on each model is a small box."""
    box = [(0.1 * x, 0.2 * y, 0.3 * z) for x, y, z in BOX]
    rows = [
        ("wheel", 0, [lcl("Translation", 1, 2, 3), lcl("Rotation", 10, 20, 30),
                      lcl("Scaling", 2, 2, 2), enum("InheritType", 1)]),
        ("order1", 1, [lcl("Translation", 1, 0, 0), lcl("Rotation", 40, 50, 60),
                       p("RotationActive", "bool", "", "", 1), enum("RotationOrder", 1),
                       enum("InheritType", 1)]),
        ("order2", 1, [lcl("Translation", 2, 0, 0), lcl("Rotation", 40, 50, 60),
                       p("RotationActive", "bool", "", "", 1), enum("RotationOrder", 2),
                       enum("InheritType", 1)]),
        ("order3", 1, [lcl("Translation", 3, 0, 0), lcl("Rotation", 40, 50, 60),
                       p("RotationActive", "bool", "", "", 1), enum("RotationOrder", 3),
                       enum("InheritType", 1)]),
        ("order4", 1, [lcl("Translation", 4, 0, 0), lcl("Rotation", 40, 50, 60),
                       p("RotationActive", "bool", "", "", 1), enum("RotationOrder", 4),
                       enum("InheritType", 1)]),
        ("order5", 1, [lcl("Translation", 5, 0, 0), lcl("Rotation", 40, 50, 60),
                       p("RotationActive", "bool", "", "", 1), enum("RotationOrder", 5),
                       enum("InheritType", 1)]),
        ("pivots", 0, [lcl("Translation", 0, 1, 0), lcl("Rotation", 15, -25, 35),
                       lcl("Scaling", 1.5, 0.5, 2), vector("RotationOffset", 0.1, 0.2, 0.3),
                       vector("RotationPivot", 1, -1, 0.5), vector("ScalingOffset", -0.2, 0.1, 0),
                       vector("ScalingPivot", 0.5, 0.25, -1), vector("PreRotation", 0, 90, 10),
                       vector("PostRotation", 5, 0, 20), p("RotationActive", "bool", "", "", 1),
                       enum("RotationOrder", 0), enum("InheritType", 1)]),
        ("below", 7, [lcl("Translation", 0.5, 0.5, 0.5), lcl("Rotation", 0, 0, 45),
                      enum("InheritType", 1)]),
        ("formed", 0, [lcl("Translation", -3, 0, 0), lcl("Rotation", 0, 30, 0),
                       vector("GeometricTranslation", 0, 1, 0),
                       vector("GeometricRotation", 90, 0, 0), vector("GeometricScaling", 1, 2, -1),
                       enum("InheritType", 1)]),
        ("plain", 9, [lcl("Translation", 0, 0, 1), enum("InheritType", 1)]),
        ("hidden", 0, [lcl("Translation", 9, 0, 0), number("Visibility", 0)]),
    ]
    objects, links = [], []
    for i, (name, parent, props) in enumerate(rows):
        objects += [model(1 + i, name, "Mesh", *props), geometry(101 + i, name, box, SIDES)]
        links += [oo(1 + i, parent), oo(101 + i, 1 + i)]
    return document(settings(*Y_UP, number("UnitScaleFactor", 100)), [], objects, links)


def inherit():
    """Inherit types under a model that is stretched and one that is doubled; y up, metres."""
    box = [(0.1 * x, 0.2 * y, 0.3 * z) for x, y, z in BOX]
    objects, links = [], []
    for k, (name, scale) in enumerate((("even", (2, 2, 2)), ("uneven", (1, 2, 4)))):
        objects.append(model(1 + 10 * k, name, "Null", lcl("Scaling", *scale),
                             lcl("Rotation", 0, 0, 90), enum("InheritType", 1)))
        links.append(oo(1 + 10 * k, 0))
        for kind in range(3):
            n = 2 + 10 * k + kind
            objects += [model(n, "%s%d" % (name, kind), "Mesh", lcl("Translation", 1, 0, 0),
                              lcl("Rotation", 0, 0, 30), lcl("Scaling", 1, 3, 1),
                              enum("InheritType", kind)), geometry(100 + n, "box", box, SIDES)]
            links += [oo(n, 1 + 10 * k), oo(100 + n, n)]
    return document(settings(*Y_UP, number("UnitScaleFactor", 100)), [], objects, links)


def lamps():
    """Cameras and lights; z up, centimetres, 23.976 frames a second. What is authored, what comes
    from the template, what is the format's."""
    templates = [
        template("NodeAttribute", "FbxLight", enum("LightType", 0), number("Intensity", 80),
                 number("OuterAngle", 35), enum("DecayType", 2)),
    ]
    objects = [
        model(1, "fire", "Light", lcl("Translation", 100, 200, 300), lcl("Rotation", 90, 0, 0)),
        attribute(11, "fire", "Light", enum("LightType", 2), color("Color", 1, 0.5, 0.25),
                  number("Intensity", 250), enum("DecayType", 1), number("DecayStart", 17),
                  number("InnerAngle", 20), number("OuterAngle", 45)),
        model(2, "moon", "Light"), attribute(12, "moon", "Light", enum("LightType", 1),
                                             enum("DecayType", 0)),
        model(3, "coals", "Light"), attribute(13, "coals", "Light", number("DecayStart", 50)),
        model(4, "ember", "Light"), attribute(14, "ember", "Light", enum("LightType", 2),
                                              enum("DecayType", 0)),
        model(5, "off", "Light"), attribute(15, "off", "Light",
                                            p("CastLight", "bool", "", "", 0)),
        model(6, "door", "Camera", lcl("Translation", 0, -500, 100), lcl("Rotation", 0, 0, 90)),
        attribute(16, "door", "Camera", enum("ApertureMode", 2), number("FieldOfView", 37.5),
                  number("NearPlane", 5), number("FarPlane", 2500), number("AspectWidth", 1920),
                  number("AspectHeight", 1080)),
        model(7, "shelf", "Camera"),
        attribute(17, "shelf", "Camera", enum("ApertureMode", 3), number("FocalLength", 50),
                  number("FilmWidth", 1.41732), number("FilmHeight", 0.94488), enum("GateFit", 2),
                  number("AspectWidth", 1920), number("AspectHeight", 1080)),
        model(8, "gate", "Camera"),
        attribute(18, "gate", "Camera", enum("ApertureMode", 1), number("FieldOfView", 60),
                  number("FilmWidth", 1.6), number("FilmHeight", 0.9)),
        model(9, "wide", "Camera"),
        attribute(19, "wide", "Camera", enum("ApertureMode", 0), number("FieldOfViewX", 80),
                  number("FieldOfViewY", 50)),
        model(10, "bare", "Camera"), attribute(20, "bare", "Camera"),
    ]
    links = [oo(i, 0) for i in range(1, 11)] + [oo(10 + i, i) for i in range(1, 11)]
    return document(
        settings(*Z_UP, number("UnitScaleFactor", 1), enum("TimeMode", 13),
                 p("TimeSpanStart", "KTime", "Time", "", seconds(0)),
                 p("TimeSpanStop", "KTime", "Time", "", seconds(4))),
        templates, objects, links)


def turn():
    """Animation; y up, metres, 25 frames a second, the span from 1 s on. x of the wheel is linear,
    y held, z cubic with user tangents; it turns about y by more than a whole turn. The arm turns
    about a pivot. A second stack and layer are not read."""
    user, auto, linear, held = 0x408, 0x108, 0x4, 0x2
    weighted = user | 0x3000000
    objects = [
        model(1, "wheel", "Null"), model(2, "arm", "Null", vector("RotationPivot", 1, 0, 0)),
        model(3, "lever", "Null"),
        N("AnimationStack", L(50), Named("spare", "AnimStack"), "", N("Properties70")),
        N("AnimationStack", L(51), Named("firing", "AnimStack"), "", N("Properties70")),
        N("AnimationLayer", L(52), Named("base", "AnimLayer"), "", N("Properties70")),
        N("AnimationLayer", L(53), Named("upper", "AnimLayer"), "", N("Properties70")),
        curve_node(60, "T"), curve_node(61, "R"), curve_node(62, "R"), curve_node(63, "T"),
        curve_node(64, "Visibility"),
        curve(70, [1, 2, 3], [0, 1, 5], [linear]),
        curve(71, [1, 2, 3], [10, 20, 30], [held]),
        curve(72, [1, 2, 4], [0, 3, 1], [user, user, user],
              [2, -1, 0, 0, 4, 0.5, 0, 0, 0, 0, 0, 0], [1, 1, 1]),
        curve(73, [1, 3], [0, 540], [linear]),
        curve(74, [1, 2], [0, 90], [linear]),
        curve(75, [1, 3], [0, 1], [weighted], [0, 3, Bits(6000 << 16 | 5000), 0]),
        curve(76, [1, 2, 3], [0, 1, 4], [auto]),
        curve(77, [1, 2], [1, 0], [held]),
    ]
    links = [oo(1, 0), oo(2, 0), oo(3, 0), oo(52, 51), oo(53, 51), oo(60, 52), oo(61, 52),
             oo(62, 52), oo(63, 52), oo(64, 52),
             op(60, 1, "Lcl Translation"), op(61, 1, "Lcl Rotation"), op(62, 2, "Lcl Rotation"),
             op(63, 3, "Lcl Translation"), op(64, 3, "Visibility"),
             op(70, 60, "d|X"), op(71, 60, "d|Y"), op(72, 60, "d|Z"), op(73, 61, "d|Y"),
             op(74, 62, "d|Z"), op(75, 63, "d|X"), op(76, 63, "d|Y"), op(77, 64, "d|Visibility")]
    return document(
        settings(*Y_UP, number("UnitScaleFactor", 100), enum("TimeMode", 10),
                 p("TimeSpanStart", "KTime", "Time", "", seconds(1)),
                 p("TimeSpanStop", "KTime", "Time", "", seconds(4))),
        [], objects, links, shown="firing")


def png(pixels):
    """RGB or RGBA rows, 8 bits."""
    height, width, depth = len(pixels), len(pixels[0]), len(pixels[0][0])

    def chunk(kind, data):
        data = kind + data
        return struct.pack(">I", len(data) - 4) + data + struct.pack(">I", zlib.crc32(data))

    rows = b"".join(b"\0" + bytes(c for q in row for c in q) for row in pixels)
    return (b"\x89PNG\r\n\x1a\n" +
            chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2 if depth == 3 else 6, 0, 0,
                                       0)) + chunk(b"IDAT", zlib.compress(rows)) +
            chunk(b"IEND", b""))


def texture(number_, name, relative, absolute, *props):
    return N("Texture", L(number_), Named(name, "Texture"), "", N("Type", "TextureVideoClip"),
             N("FileName", absolute), N("RelativeFilename", relative),
             N("Properties70", *props))


def glaze():
    """Materials with maps: embedded, beside the file, beside it under another folder's name,
    missing; wrap modes and placement."""
    red = png([[(255, 0, 0), (255, 0, 0)], [(255, 0, 0), (255, 0, 0)]])
    square = geometry(
        11, "tile", [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)], [[0, 1, 2, 3]],
        layer("UV", "UV", "UVIndex", "ByVertice", [0, 0, 1, 0, 1, 1, 0, 1], name="first"),
        layer("UV", "UV", "UVIndex", "ByVertice", [0, 0, 2, 0, 2, 2, 0, 2], number_=1,
              name="second"),
        layer("Material", "Materials", None, "AllSame", [0]))
    objects = [
        model(1, "tile", "Mesh"), square,
        N("Material", L(21), Named("slip", "Material"), "", N("ShadingModel", "Phong"),
          N("Properties70", color("DiffuseColor", 0.3, 0.3, 0.3), number("DiffuseFactor", 0.5),
            number("ReflectionFactor", 0.25))),
        texture(31, "inside", "kiln\\none.png", "X:\\kiln\\none.png", enum("WrapModeU", 1),
                enum("WrapModeV", 0), vector("Translation", 0.25, 0.5, 0),
                vector("Scaling", 2, 3, 1), p("UVSet", "KString", "", "", "second")),
        texture(32, "beside", "green.png", "X:\\kiln\\green.png"),
        texture(33, "moved", "maps\\green.png", "/nowhere/maps/green.png"),
        texture(34, "gone", "maps\\gone.png", "/nowhere/gone.png"),
        texture(35, "unused", "green.png", ""),
        N("Video", L(41), Named("inside", "Video"), "Clip", N("Type", "Clip"),
          N("Filename", "X:\\kiln\\none.png"), N("Content", red)),
    ]
    links = [oo(1, 0), oo(11, 1), oo(21, 1), oo(41, 31), op(31, 21, "DiffuseColor"),
             op(32, 21, "EmissiveColor"), op(33, 21, "SpecularColor"), op(34, 21, "NormalMap"),
             op(35, 21, "ReflectionColor")]
    return document(settings(*Y_UP, number("UnitScaleFactor", 100)), [], objects, links)


for scene in (shapes, rig, inherit, lamps, turn, glaze):
    save(scene.__name__, scene())
with open("green.png", "wb") as file:
    file.write(png([[(0, 255, 0)] * 2] * 2))
