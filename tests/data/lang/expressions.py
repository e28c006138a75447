"""Writes expressions.tsv: what expressions are worth, by Python's own operators and math module.

Each row is an expression of the graph language and the same thing written in Python by hand; only
the value goes into the table. Functions that Python lacks follow The OpenGL Shading Language 4.60,
chapter 8. Run: python3 expressions.py > expressions.tsv
"""

import math

frame, t, rate, width, height, pi = 12, 11 / 24, 24, 1920, 1080, math.pi
gain, hot_gain, on, wave = 2.5, 0.5, True, 24
v2, v3, v4 = (0.25, -0.5), (1, 2, 3), (0.1, 0.2, 0.3, 0.4)


def mod(x, y):
    return x - y * math.floor(x / y)


def clamp(x, low, high):
    return min(max(x, low), high)


def mix(x, y, a):
    return x * (1 - a) + y * a


def step(edge, x):
    return 0 if x < edge else 1


def smoothstep(e0, e1, x):
    s = clamp((x - e0) / (e1 - e0), 0, 1)
    return s * s * (3 - 2 * s)


def sign(x):
    return (x > 0) - (x < 0)


def fract(x):
    return x - math.floor(x)


def length(v):
    return math.sqrt(sum(x * x for x in v))


def each(f, *args):
    n = max(len(a) for a in args if isinstance(a, tuple))
    return tuple(f(*(a[i] if isinstance(a, tuple) else a for a in args)) for i in range(n))


ROWS = [
    ("1 + 2 * 3", 1 + 2 * 3),
    ("(1 + 2) * 3", (1 + 2) * 3),
    ("2 - 3 - 4", 2 - 3 - 4),
    ("2 / 4 / 8", 2 / 4 / 8),
    ("-2 * -3", 6),
    ("- - 2", 2),
    ("+.5e1", 5),
    ("1e-3 + 2E+2", 0.001 + 200),
    ("7 % 3", 7 % 3),
    ("-7 % 3", -7 % 3),
    ("7 % -3", 7 % -3),
    ("7.5 % 2", 7.5 % 2),
    ("0.1 + 0.2", 0.1 + 0.2),
    ("1 / 3", 1 / 3),
    ("frame", frame),
    ("t", t),
    ("rate", rate),
    ("width / height", width / height),
    ("pi", pi),
    ("gain", gain),
    ("hot-gain", hot_gain),
    ("hot-gain-gain", hot_gain - gain),
    ("gain-hot-gain", gain - hot_gain),
    ("gain - 1", gain - 1),
    ("gain-1", gain - 1),
    ("wave * 2", wave * 2),
    ("gain * (0.9 + 0.1 * sin(t * 3))", gain * (0.9 + 0.1 * math.sin(t * 3))),
    ("1 < 2", True),
    ("2 <= 2", True),
    ("3 > 4", False),
    ("3 >= 4", False),
    ("1 + 1 == 2", True),
    ("1 != 1", False),
    ("vec2(1, 2) == vec2(1, 2)", True),
    ("vec2(1, 2) != vec2(1, 3)", True),
    ("'a' == \"a\"", True),
    ("name == 'kiln'", True),
    ("name != 'kiln'", False),
    ("on == true", True),
    ("true && false", False),
    ("true || false", True),
    ("!on", False),
    ("!false && 1 < 2", True),
    ("false && true || true", (False and True) or True),
    ("true || true && false", True or (True and False)),
    ("1 < 2 == true", (1 < 2) is True),
    ("on ? 1 : 2", 1),
    ("frame > 20 ? 1 : frame > 10 ? 2 : 3", 2),
    ("(on ? gain : 0) + 1", gain + 1),
    ("false ? vec2(1) : vec2(2, 3)", (2, 3)),
    ("name + '-' + name", "kiln-kiln"),
    ("on ? 'lit' : name", "lit"),
    ("''", ""),
    ("vec2(1, 2) + vec2(10, 20)", (11, 22)),
    ("vec3(1, 2, 3) * 2", (2, 4, 6)),
    ("2 / vec2(1, 4)", (2 / 1, 2 / 4)),
    ("vec2(7, 8) % 3", (7 % 3, 8 % 3)),
    ("-vec2(1, -2)", (-1, 2)),
    ("vec4(v2, 1, 2)", (0.25, -0.5, 1, 2)),
    ("vec4(v3, 0)", (1, 2, 3, 0)),
    ("vec3(0.5)", (0.5, 0.5, 0.5)),
    ("vec4(v2, v2)", (0.25, -0.5, 0.25, -0.5)),
    ("v3.x", 1),
    ("v3.zyx", (3, 2, 1)),
    ("v4.rgb", (0.1, 0.2, 0.3)),
    ("v4.a", 0.4),
    ("v4.wwxy", (0.4, 0.4, 0.1, 0.2)),
    ("v4.xyz.yz.y", 0.3),
    ("(v3 + 1).y", 3),
    ("vec2(3, 4).y - 1", 3),
    ("-v3.x", -1),
    ("sin(1)", math.sin(1)),
    ("sin(-20)", math.sin(-20)),
    ("cos(2)", math.cos(2)),
    ("cos(pi)", math.cos(pi)),
    ("tan(0.7)", math.tan(0.7)),
    ("asin(0.3)", math.asin(0.3)),
    ("acos(-0.3)", math.acos(-0.3)),
    ("atan(3)", math.atan(3)),
    ("atan(1, -2)", math.atan2(1, -2)),
    ("atan(-1, -2)", math.atan2(-1, -2)),
    ("sqrt(2)", math.sqrt(2)),
    ("pow(2, 0.5)", 2**0.5),
    ("pow(10, -3)", 10**-3),
    ("exp(1.5)", math.exp(1.5)),
    ("log(10)", math.log(10)),
    ("exp2(0.25)", 2**0.25),
    ("log2(10)", math.log2(10)),
    ("abs(-3.5)", 3.5),
    ("sign(-3)", sign(-3)),
    ("sign(0)", sign(0)),
    ("sign(2)", sign(2)),
    ("floor(-1.5)", math.floor(-1.5)),
    ("ceil(-1.5)", math.ceil(-1.5)),
    ("fract(-1.25)", fract(-1.25)),
    ("mod(-7.5, 2)", mod(-7.5, 2)),
    ("min(3, -1)", -1),
    ("max(3, -1)", 3),
    ("clamp(5, 0, 1)", clamp(5, 0, 1)),
    ("clamp(-5, 0, 1)", clamp(-5, 0, 1)),
    ("mix(2, 10, 0.25)", mix(2, 10, 0.25)),
    ("step(2, 1.9)", step(2, 1.9)),
    ("step(2, 2)", step(2, 2)),
    ("smoothstep(0, 10, 3)", smoothstep(0, 10, 3)),
    ("smoothstep(0, 10, -3)", smoothstep(0, 10, -3)),
    ("smoothstep(10, 0, 3)", smoothstep(10, 0, 3)),
    ("length(vec2(3, 4))", 5),
    ("length(-3)", 3),
    ("length(v4)", length(v4)),
    ("dot(v3, vec3(4, 5, 6))", 1 * 4 + 2 * 5 + 3 * 6),
    ("normalize(vec2(3, 4))", (3 / 5, 4 / 5)),
    ("normalize(v3)", tuple(x / length(v3) for x in v3)),
    ("sin(v3)", each(math.sin, v3)),
    ("max(v3, 2)", each(max, v3, 2)),
    ("mix(v3, vec3(0), 0.25)", each(mix, v3, (0, 0, 0), 0.25)),
    ("clamp(v2, 0, 1)", each(clamp, v2, 0, 1)),
    ("smoothstep(0, 1, v4)", each(smoothstep, (0,) * 4, (1,) * 4, v4)),
    ("pow(v3, vec3(2, 0.5, -1))", each(pow, v3, (2, 0.5, -1))),
    ("step(vec2(0, 1), 0.5)", each(step, (0, 1), 0.5)),
    ("floor(sin(frame) * 100) / 100", math.floor(math.sin(frame) * 100) / 100),
    ("clamp(mix(0, 1, (frame - 1) / 23), 0, 1) * 40", clamp(mix(0, 1, (frame - 1) / 23), 0, 1) * 40),
]


def text(value):
    if isinstance(value, bool):
        return "bool\t%d" % value
    if isinstance(value, str):
        return "text\t" + value
    if not isinstance(value, tuple):
        value = (value,)
    return "%d\t%s" % (len(value), " ".join(repr(float(x)) for x in value))


print("# made by expressions.py: expression, type, value")
for expression, value in ROWS:
    print(expression + "\t" + text(value))
