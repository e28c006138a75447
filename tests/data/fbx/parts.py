"""The parts that scenes are put together from: objects, properties, layers, connections."""

from write import A, L, N, Named

TICKS = 46186158000


def p(name, kind, label, flags, *values):
    return N("P", name, kind, label, flags, *values)


def number(name, value):
    return p(name, "double", "Number", "", float(value))


def enum(name, value):
    return p(name, "enum", "", "", value)


def vector(name, *v):
    return p(name, "Vector3D", "Vector", "", *[float(x) for x in v])


def color(name, *v):
    return p(name, "Color", "", "A", *[float(x) for x in v])


def lcl(what, *v):
    return p("Lcl " + what, "Lcl " + what, "", "A", *[float(x) for x in v])


def settings(*more):
    return N("GlobalSettings", N("Version", 1000), N("Properties70", *more))


def axes(up, front, right):
    """Each as (axis, sign)."""
    out = []
    for name, (axis, sign) in (("Up", up), ("Front", front), ("Coord", right)):
        out.append(p(name + "Axis", "int", "Integer", "", axis))
        out.append(p(name + "AxisSign", "int", "Integer", "", sign))
    return out


Y_UP = axes((1, 1), (2, 1), (0, 1))
Z_UP = axes((2, 1), (1, -1), (0, 1))


def seconds(t):
    return L(round(t * TICKS))


def header(version):
    return N("FBXHeaderExtension", N("FBXHeaderVersion", 1003), N("FBXVersion", version))


def model(number_, name, kind, *props):
    return N("Model", L(number_), Named(name, "Model"), kind, N("Version", 232),
             N("Properties70", *props), N("Culling", "CullingOff"))


def attribute(number_, name, kind, *props):
    return N("NodeAttribute", L(number_), Named(name, "NodeAttribute"), kind,
             N("Properties70", *props), N("TypeFlags", kind))


def oo(child, parent):
    return N("C", "OO", L(child), L(parent))


def op(child, parent, name):
    return N("C", "OP", L(child), L(parent), name)


def layer(kind, values, index, mapping, data, indices=None, number_=0, name=""):
    code = "i" if kind == "Material" else "d"
    kids = [N("Version", 101), N("Name", name), N("MappingInformationType", mapping),
            N("ReferenceInformationType", "Direct" if indices is None and kind != "Material"
              else "IndexToDirect"), N(values, A(code, data))]
    if indices is not None:
        kids.append(N(index, A("i", indices)))
    return N("LayerElement" + kind, number_, *kids)


def geometry(number_, name, points, polygons, *layers):
    corners = []
    for polygon in polygons:
        corners += polygon[:-1] + [~polygon[-1]]
    return N("Geometry", L(number_), Named(name, "Geometry"), "Mesh", N("Properties70"),
             N("GeometryVersion", 124), N("Vertices", A("d", [x for q in points for x in q])),
             N("PolygonVertexIndex", A("i", corners)), *layers)


def curve(number_, times, values, flags, data=None, runs=None):
    return N("AnimationCurve", L(number_), Named("", "AnimCurve"), "", N("Default", 0.0),
             N("KeyVer", 4008), N("KeyTime", A("l", [seconds(t) for t in times])),
             N("KeyValueFloat", A("f", values)), N("KeyAttrFlags", A("i", flags)),
             N("KeyAttrDataFloat", A("f", data or [0.0] * 4 * len(flags))),
             N("KeyAttrRefCount", A("i", runs or [len(times)])))


def curve_node(number_, name):
    return N("AnimationCurveNode", L(number_), Named(name, "AnimCurveNode"), "",
             N("Properties70", p("d|X", "Number", "", "A", 0.0)))


def document(settings_, templates, objects, links, shown=None):
    shown = [N("Documents", N("Count", 1), N("Document", L(1), "", "Scene", N(
        "Properties70", p("ActiveAnimStackName", "KString", "", "", shown))))] if shown else []
    return [header(7400), settings_, *shown, N("Definitions", N("Version", 100), *templates),
            N("Objects", *objects), N("Connections", *links)]


def template(kind, name, *props):
    return N("ObjectType", kind, N("Count", 1),
             N("PropertyTemplate", name, N("Properties70", *props)))


BOX = [(-1, -1, -1), (1, -1, -1), (1, 1, -1), (-1, 1, -1), (-1, -1, 1), (1, -1, 1), (1, 1, 1),
       (-1, 1, 1)]
SIDES = [[0, 3, 2, 1], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]]
