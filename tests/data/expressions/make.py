"""Writes values.tsv: what expressions of the graph language are worth, by another evaluator.

Python parses the expressions and works them out: + - * / are numpy's doubles (IEEE 754), the
elementary functions are mpmath's at 200 bits, rounded once; what GLSL defines by a formula (The
OpenGL Shading Language 4.60, sections 8.1 to 8.5) is that formula; noise and random follow
docs/language.md. Nothing is shared with the program. What Python writes otherwise (?: && || !) has
both forms in the tables below.

Columns, parted by tabs: expression, frame, type (bool, text, or how many numbers), value, ulps. Our
elementary functions may be one unit in the last place away from the exact result rounded; `ulps` is
how far the value moves when every call of one is off by that, in several patterns: 0 where only
arithmetic is in it, which has to be the same to the bit.

Run: python3 make.py > values.tsv (needs python3-numpy, python3-mpmath).
"""

import math
import random
import re
import struct

import mpmath
import numpy

mpmath.mp.prec = 200
numpy.seterr(all="ignore")

NUDGES = [None, lambda n: 1, lambda n: -1, lambda n: (-1) ** n, lambda n: -((-1) ** n)]
NUDGES += [lambda n, k=k: random.Random(1000 * k + n).choice((-1, 0, 1)) for k in range(6)]
nudge, calls = None, 0


def off(x):
    """A result of an elementary function, as exact as ours need be."""
    global calls
    calls += 1
    if nudge is None or not math.isfinite(x) or x == 0:
        return x
    steps = nudge(calls)
    return math.nextafter(x, math.inf * steps) if steps else x


class Text:
    def __init__(self, s):
        self.s = s

    def __add__(self, other):
        return Text(self.s + (other.s if isinstance(other, Text) else shortest(other.cs[0])))

    def __eq__(self, other):
        return self.s == other.s


class Vec:
    """One to four doubles."""

    def __init__(self, *x):
        self.cs = tuple(float(c) for c in x)

    def __getattr__(self, name):
        set_ = "xyzw" if name[0] in "xyzw" else "rgba"
        return Vec(*(self.cs[set_.index(c)] for c in name))

    def __add__(self, other):
        if isinstance(other, Text):
            return Text(shortest(self.cs[0]) + other.s)
        return each(lambda a, b: numpy.float64(a) + b, self, other)

    def __sub__(self, other):
        return each(lambda a, b: numpy.float64(a) - b, self, other)

    def __mul__(self, other):
        return each(lambda a, b: numpy.float64(a) * b, self, other)

    def __truediv__(self, other):
        return each(lambda a, b: numpy.float64(a) / numpy.float64(b), self, other)

    def __mod__(self, other):
        return mod(self, other)

    def __neg__(self):
        return each(lambda a: -a, self)

    def __pos__(self):
        return self

    def __eq__(self, other):
        return self.cs == other.cs

    def __lt__(self, other):
        return self.cs[0] < other.cs[0]

    def __le__(self, other):
        return self.cs[0] <= other.cs[0]

    def __gt__(self, other):
        return self.cs[0] > other.cs[0]

    def __ge__(self, other):
        return self.cs[0] >= other.cs[0]


def each(f, *args):
    n = max(len(a.cs) for a in args)
    return Vec(*(f(*(a.cs[i] if len(a.cs) > 1 else a.cs[0] for a in args)) for i in range(n)))


# --- functions ---


def exact(f):
    """An elementary function by mpmath; not a number where it has no real value."""

    def one(*x):
        if f is power and x[1] == 0:
            return 1.0
        if any(math.isnan(c) for c in x):
            return math.nan
        try:
            y = f(*(mpmath.mpf(c) for c in x))
        except (ValueError, ZeroDivisionError):
            return math.nan
        return off(float(y)) if mpmath.im(y) == 0 else math.nan

    return lambda *args: each(one, *args)


def arc(f):
    return exact(lambda x: f(x) if abs(x) <= 1 else mpmath.mpc(0, 1))


def log_of(f):
    return exact(lambda x: f(x) if x > 0 else -mpmath.inf if x == 0 else mpmath.mpc(0, 1))


def power(x, y):
    """IEEE 754-2008, 9.2.1, for what the table has."""
    if y == 0:
        return mpmath.mpf(1)
    if x == 0:
        return mpmath.inf if y < 0 else mpmath.mpf(0)
    if x < 0 and y != int(y):
        return mpmath.mpc(0, 1)
    return mpmath.power(x, int(y)) if y == int(y) and abs(y) < 2000 else mpmath.power(x, y)


def mod(x, y):
    return each(lambda a, b: a - numpy.float64(b) * numpy.floor(numpy.float64(a) / b), x, y)


def sign(x):
    return each(lambda a: a if math.isnan(a) or a == 0 else math.copysign(1, a), x)


def smoothstep(e0, e1, x):
    def one(a, b, c):
        t = (numpy.float64(c) - a) / (numpy.float64(b) - a)
        t = min1(max1(t, 0.0), 1.0)
        return t * t * (3 - 2 * t)

    return each(one, e0, e1, x)


def min1(x, y):
    return y if y < x else x


def max1(x, y):
    return y if x < y else x


def dot1(a, b):
    total = 0.0
    for x, y in zip(a.cs, b.cs):
        total = total + x * y
    return total


def vec(size):
    def make(*args):
        parts = [c for a in args for c in a.cs]
        return Vec(*(parts * size if len(parts) == 1 else parts))

    return make


# --- noise and random, as docs/language.md has them ---

MASK = 0xFFFFFFFF


def mix32(h):
    h = ((h ^ h >> 16) * 0x85EBCA6B) & MASK
    h = ((h ^ h >> 13) * 0xC2B2AE35) & MASK
    return h ^ h >> 16


def join(h, word):
    return mix32(((h ^ (word & MASK)) + 0x9E3779B9) & MASK)


def fade(t):
    return t * t * t * (t * (t * 6.0 - 15.0) + 10.0)


def lerp(a, b, t):
    return a + (b - a) * t


def noise1(x):
    i = math.floor(x)
    t, base = x - i, join(join(0, 0), 1)

    def slope(h, d):
        size = 0.25 + 0.75 * 2**-31 * (h >> 1)
        return -size * d if h & 1 else size * d

    return 2.0 * lerp(slope(join(base, i), t), slope(join(base, i + 1), t - 1), fade(t))


def noise2(x, y):
    i, j = math.floor(x), math.floor(y)
    tx, ty, base = x - i, y - j, join(join(0, 0), 2)
    c, s = 0.92387953251128676, 0.38268343236508977

    def slope(h, u, v):
        a, b = (v, u) if h & 4 else (u, v)
        return (-c if h & 1 else c) * a + (-s if h & 2 else s) * b

    rows = []
    for k in (0, 1):
        row = join(base, j + k)
        rows.append(lerp(slope(join(row, i), tx, ty - k),
                         slope(join(row, i + 1), tx - 1, ty - k), fade(tx)))
    return (1 / 0.660817) * lerp(rows[0], rows[1], fade(ty))


def noise3(x, y, z):
    i, j, k = math.floor(x), math.floor(y), math.floor(z)
    tx, ty, tz, base = x - i, y - j, z - k, join(join(0, 0), 3)

    def slope(h, u, v, w):
        a = u if h & 15 < 8 else v
        b = v if h & 15 < 4 else (u if h & 13 == 12 else w)
        return (-a if h & 1 else a) + (-b if h & 2 else b)

    sums = []
    for c in range(4):
        row = join(join(base, k + (c >> 1)), j + (c & 1))
        py, pz = ty - (c & 1), tz - (c >> 1)
        sums.append(lerp(slope(join(row, i), tx, py, pz), slope(join(row, i + 1), tx - 1, py, pz),
                         fade(tx)))
    low, high = lerp(sums[0], sums[1], fade(ty)), lerp(sums[2], sums[3], fade(ty))
    return (1 / 1.036354) * lerp(low, high, fade(tz))


def random_of(seed):
    bits = struct.unpack("<Q", struct.pack("<d", seed + 0.0))[0]
    words = (bits & MASK, bits >> 32, 0x65787072, 0)
    h = 0
    for n, word in enumerate(words):
        h = join((h * 5) & MASK if n else 0, word)
    return (h >> 8) * 2.0**-24


# --- texts ---


def shortest(x):
    """The fewest of 15, 16, 17 digits that read back as the same number."""
    for digits in (15, 16, 17):
        text = "%.*g" % (digits, x + 0.0)
        if float(text) == x:
            return text


def text(x, digits=None, decimals=None):
    if digits is None:
        return Text(shortest(x.cs[0]))
    rounded = "%.*f" % (int(decimals.cs[0]) if decimals else 0, abs(x.cs[0]))
    whole, point, rest = rounded.partition(".")
    minus = "-" if x.cs[0] < 0 and rounded.strip("0.") else ""
    return Text(minus + whole.rjust(int(digits.cs[0]), "0") + point + rest)


FUNCTIONS = {
    "radians": lambda x: each(lambda a: a * (math.pi / 180), x),
    "degrees": lambda x: each(lambda a: a * (180 / math.pi), x),
    "sin": exact(mpmath.sin), "cos": exact(mpmath.cos), "tan": exact(mpmath.tan),
    "asin": arc(mpmath.asin), "acos": arc(mpmath.acos),
    "atan": lambda *a: exact(mpmath.atan if len(a) == 1 else mpmath.atan2)(*a),
    "sqrt": lambda x: each(lambda a: float(numpy.sqrt(numpy.float64(a))), x),
    "pow": exact(power), "exp": exact(mpmath.exp), "log": log_of(mpmath.log),
    "exp2": exact(lambda x: mpmath.power(2, x)), "log2": log_of(lambda x: mpmath.log(x, 2)),
    "abs": lambda x: each(abs, x), "sign": sign,
    "floor": lambda x: each(numpy.floor, x), "ceil": lambda x: each(numpy.ceil, x),
    "round": lambda x: each(numpy.rint, x),
    "fract": lambda x: each(lambda a: numpy.float64(a) - numpy.floor(a), x),
    "mod": mod,
    "min": lambda x, y: each(min1, x, y), "max": lambda x, y: each(max1, x, y),
    "clamp": lambda x, a, b: each(lambda c, l, h: min1(max1(c, l), h), x, a, b),
    "mix": lambda x, y, a: each(lambda p, q, t: numpy.float64(p) * (1 - t) + numpy.float64(q) * t,
                                x, y, a),
    "step": lambda e, x: each(lambda a, b: 0.0 if b < a else 1.0, e, x),
    "smoothstep": smoothstep,
    "length": lambda v: Vec(math.sqrt(dot1(v, v))), "dot": lambda a, b: Vec(dot1(a, b)),
    "normalize": lambda v: each(lambda a: numpy.float64(a) / math.sqrt(dot1(v, v)), v),
    "noise": lambda *a: Vec((noise1, noise2, noise3)[len(a) - 1](*(c.cs[0] for c in a))),
    "random": lambda s: Vec(random_of(s.cs[0])),
    "vec2": vec(2), "vec3": vec(3), "vec4": vec(4), "text": text,
}

# --- evaluation ---

NUMBER = re.compile(r"(?<![\w.])(\d+\.?\d*(?:[eE][+-]?\d+)?|\.\d+(?:[eE][+-]?\d+)?)")


def names(frame):
    return {
        "frame": Vec(frame), "t": Vec((frame - 1) / 24), "rate": Vec(24), "width": Vec(1920),
        "height": Vec(1080), "pi": Vec(math.pi), "gain": Vec(2.5), "hot_gain": Vec(0.5),
        "on": True, "true": True, "false": False, "name": Text("kiln"), "v2": Vec(0.25, -0.5),
        "v3": Vec(1, 2, 3), "v4": Vec(0.1, 0.2, 0.3, 0.4), "wave": Vec(2 * frame),
        "Vec": Vec, "Text": Text, **FUNCTIONS,
    }


def python(expression):
    """In Python's words: numbers and texts become ours."""
    parts = re.split(r"('[^']*'|\"[^\"]*\")", expression.replace("hot-gain", "hot_gain"))
    return "".join("Text(%s)" % p if n % 2 else NUMBER.sub(r"Vec(\1)", p)
                   for n, p in enumerate(parts))


def ordinal(x):
    n = struct.unpack("<q", struct.pack("<d", x))[0]
    return n if n >= 0 else -(n & 0x7FFFFFFFFFFFFFFF)


def distance(a, b):
    if math.isnan(a) or math.isnan(b):
        return 0 if math.isnan(a) and math.isnan(b) else math.inf
    return abs(ordinal(a) - ordinal(b))


def evaluate(form, frame, how=None):
    global nudge, calls
    nudge, calls = how, 0
    return eval(form, {"__builtins__": {}}, names(frame))


def number(x):
    return "nan" if math.isnan(x) else repr(float(x))


def row(expression, frame=12, form=None):
    form = python(form or expression)
    value = evaluate(form, frame)
    if isinstance(value, bool):
        return [expression, str(frame), "bool", str(int(value)), "0"]
    if isinstance(value, Text):
        return [expression, str(frame), "text", value.s, "0"]
    ulps = 0
    for how in NUDGES[1:]:
        other = evaluate(form, frame, how)
        ulps = max([ulps] + [distance(a, b) for a, b in zip(value.cs, other.cs)])
    assert ulps < 1000, expression
    return [expression, str(frame), str(len(value.cs)), " ".join(number(x) for x in value.cs),
            str(ulps)]


# --- the expressions ---

ROWS = []

ANGLES = "0 1 -1 0.5 -0.001 2 -20 3.14159265358979 100 -1000.25 1e5 1e-9".split()
UNITS = "0 1 -1 0.5 -0.5 0.999999 1e-9 -0.25 1.5 -7".split()
SIZES = "0 1 -1 0.5 2 10 1e-300 1e300 1e-9 123.456 -3".split()
POWERS = "0 1 -1 0.5 -0.5 10 -10 1e-9 100.25 -100.25 700 -700 1000 -1000".split()
PLAIN = "0 1 -1 0.5 -0.5 1.5 -1.5 2.5 -2.5 0.25 -1.25 7 -7 1e15 1e-9 -1e300 0.49999999999999994".split()
for function, arguments in (
    ("sin", ANGLES), ("cos", ANGLES), ("tan", ANGLES), ("radians", ANGLES), ("degrees", ANGLES),
    ("asin", UNITS), ("acos", UNITS), ("atan", ANGLES), ("exp", POWERS), ("exp2", POWERS),
    ("log", SIZES), ("log2", SIZES), ("sqrt", SIZES), ("abs", PLAIN), ("sign", PLAIN),
    ("floor", PLAIN), ("ceil", PLAIN), ("round", PLAIN), ("fract", PLAIN), ("length", PLAIN[:9]),
    ("random", PLAIN), ("noise", PLAIN[:10] + ["0.1", "-3.7", "1000.3", "123456.75"]),
):
    ROWS += ["%s(%s)" % (function, a) for a in arguments]
for function, pairs in (
    ("atan", "0,1 1,0 -1,0 0,-1 1,1 -1,-1 -1,2 3,-0.5 1e-9,-1 1e300,1e-300"),
    ("pow", "2,0.5 10,-3 -2,3 -2,-3 -2,0.5 0,2 0,-1 2,0 0,0 1.5,300 1.0000001,1e7 0.1,20 9,-0.5"),
    ("mod", "7,3 -7,3 7,-3 -7,-3 7.5,2 -7.5,2 1,0.1 0.3,0.1 5,0 0,3 1e15,7 -1e-20,1"),
    ("min", "1,2 2,1 -1,1 3,3 -2,-3"), ("max", "1,2 2,1 -1,1 3,3 -2,-3"),
    ("step", "2,1.9 2,2 2,2.1 -1,-2 0,0"),
    ("noise", "0.5,0.5 0,0 1.25,-3.5 -0.1,7.9 100.5,200.25 3,0.5"),
):
    ROWS += ["%s(%s)" % (function, p.replace(",", ", ")) for p in pairs.split()]
for function, triples in (
    ("clamp", "5,0,1 -5,0,1 0.5,0,1 2,2,2 0,1,-1"),
    ("mix", "2,10,0.25 2,10,0 2,10,1 2,10,-0.5 2,10,1.5 0.1,0.7,0.3 -1e300,1e300,0.5"),
    ("smoothstep", "0,10,3 0,10,-3 0,10,13 10,0,3 -1,1,0.1 2,2,1 2,2,3 0,1,0.999"),
    ("noise", "0.5,0.5,0.5 0,0,0 1.25,-3.5,9.75 -0.1,7.9,0.3 100.5,200.25,-300.125 1,2,0.5"),
):
    ROWS += ["%s(%s)" % (function, p.replace(",", ", ")) for p in triples.split()]

VECTORS = ["v2", "v3", "v4", "vec3(0.2, -1.7, 30)", "vec2(7, -8.5)"]
for function in "sin cos tan atan exp abs sign floor ceil round fract radians length normalize".split():
    ROWS += ["%s(%s)" % (function, v) for v in VECTORS]
for function in "min max mod step pow atan".split():
    ROWS += ["%s(%s, %s)" % (function, a, b) for a, b in
             (("v3", "2"), ("2", "v3"), ("v3", "vec3(2, 0.5, 3)"), ("v4", "vec4(4, 3, 2, 1)"),
              ("vec2(7, 8)", "3"))]
ROWS += ["mix(v3, vec3(0), 0.25)", "mix(0, 1, v4)", "mix(v2, vec2(5, 6), vec2(0, 1))",
         "clamp(v3, 1.5, vec3(9, 1.75, 2))", "clamp(v2, 0, 1)", "smoothstep(0, 1, v4)",
         "smoothstep(v2, vec2(1), 0.125)", "dot(v3, vec3(4, 5, 6))", "dot(v2, v2)", "dot(3, 4)",
         "dot(v4, vec4(1, -1, 1, -1))", "length(vec2(3, 4))", "length(v4 * 1e200)",
         "normalize(vec2(3, 4))", "normalize(-5)", "normalize(vec2(0))"]

# precedence and association, everything of one meaning only
ROWS += """1 + 2 * 3
(1 + 2) * 3
2 - 3 - 4
2 - (3 - 4)
2 / 4 / 8
2 / (4 / 8)
2 * 3 % 4
2 + 3 % 4
7 % 4 * 2
20 / 6 % 2
-7 % 3
-(7 % 3)
7 % -3
-2 * -3
- - 2
2 - -2
2 + - + - 2
-2 - 3 * -4 / 5
1 / 3
0.1 + 0.2
0.1 * 3 - 0.3
1e-3 + 2E+2
+.5e1
1. + .5
1e308 * 10
-1 / 0
0 / 0
1 / 0 - 1 / 0
sqrt(-1) + 1
min(1 / 0, 5)
max(0 / 0, 1)
min(1, 0 / 0)
sign(0 / 0)
floor(1 / 0)
pow(0 / 0, 0)
4 * atan(1) + pi
-v3.x
-v3.zyx
v3.x - v3.y * v3.z
(v3 + 1).y
v3.zyx.x
v4.rgb
v4.a
v4.wwxy
v4.xyz.yz.y
v2.yx
v2.xyxy
v3.rrr
vec2(3, 4).y - 1
vec2(1, 2) + vec2(10, 20)
vec3(1, 2, 3) * 2
2 / vec2(1, 4)
vec2(7, 8) % 3
7 % vec2(4, -4)
-vec2(1, -2)
v3 * v3 - v3 / 2
1 - v4
vec4(v2, 1, 2)
vec4(v3, 0)
vec4(1, v3)
vec4(v2, v2)
vec3(v2, v2.x)
vec3(0.5)
vec2(frame, t)
gain - 1
gain-1
hot-gain-gain
gain-hot-gain
hot-gain - gain
gain * (0.9 + 0.1 * sin(t * 3))
width / height
floor(sin(frame) * 100) / 100
sin(t * pi) * cos(t * pi) + sin(2 * t * pi) / 2
exp(log(2) * 0.5) / sqrt(3)
clamp(mix(0, 1, (frame - 1) / 23), 0, 1) * 40
smoothstep(0, 1, fract(t)) * length(v3) + noise(t * 3)
degrees(atan(3, 4)) + radians(90)
pow(abs(sin(frame)), 2.2)
mod(frame, 10) / 10 + frame % 10
random(frame) * 2 - 1
random(floor(t * 12))
noise(frame * 0.1, t)
noise(t, t * 2, random(frame) + 0.5)
wave * 2 + frame""".split("\n")
for expression in ("frame", "t", "wave", "frame / rate - t", "sin(frame * 0.1) * width",
                   "noise(t * 3)", "noise(frame * 0.37, 5.5)", "random(frame)", "fract(t * 2.4)",
                   "exp(-t) * cos(t * 12)", "vec3(sin(t), cos(t), t)", "frame % 24", "text(frame, 4)",
                   "'Take ' + frame", "mix(v3, vec3(10), smoothstep(0, 4, t))"):
    ROWS += [(expression, frame) for frame in (1, 2, 12.5, 100, -7, 99999)]

# texts
ROWS += ["'a' + 'b'", "name + '-' + name", "''", "\"it's\"", "'say \"yes\"'", "'a' + 1", "1 + 'a'",
         "1 + 2 + 'a'", "'a' + 1 + 2", "'a' + (1 + 2)", "'a' + 2 * 3", "'x' + 0.1", "'x' + (0.1 + 0.2)",
         "'x' + 1 / 3", "'x' + 1e20", "'x' + 1e-7", "'x' + 123456789012345680", "'x' + -0.0",
         "'x' + -2.50"]
for x in "0 7 12.5 13.5 -3 -0.4 0.5 1.005 2.675 99.95 123456.789 1e20 -1e-9 0.05".split():
    ROWS += ["text(%s)" % x, "text(%s, 1)" % x, "text(%s, 4)" % x, "text(%s, 1, 2)" % x,
             "text(%s, 6, 1)" % x]
ROWS += ["text(pi, 1, 15)", "text(1, 30)", "text(frame - 0.5, 3)"]

# ours, and the same in Python's words
ROWS += [(ours, 12, theirs) for ours, theirs in (
    ("1 < 2", "1 < 2"), ("2 <= 2", "2 <= 2"), ("3 > 4", "3 > 4"), ("3 >= 4", "3 >= 4"),
    ("1 + 1 == 2", "1 + 1 == 2"), ("1 != 1", "not 1 == 1"), ("0 == -0", "0 == -0"),
    ("0 / 0 == 0 / 0", "false"), ("0 / 0 != 0 / 0", "true"), ("0 / 0 < 1", "false"),
    ("vec2(1, 2) == vec2(1, 2)", "true"), ("vec2(1, 2) != vec2(1, 3)", "true"),
    ("'a' == \"a\"", "true"), ("'a' == 'b'", "false"), ("name != 'kiln'", "false"),
    ("'a' + 1 == 'a1'", "'a' + 1 == 'a1'"),
    ("on == true", "on == true"), ("true && false", "true and false"),
    ("true || false", "true or false"), ("!on", "not on"), ("!!on", "not not on"),
    ("!false && 1 < 2", "not false and 1 < 2"),
    ("false && true || true", "false and true or true"),
    ("true || true && false", "true or true and false"),
    ("(true || true) && false", "(true or true) and false"),
    ("1 < 2 == true", "(1 < 2) == true"), ("true == 1 < 2", "true == (1 < 2)"),
    ("1 == 1 == true", "(1 == 1) == true"), ("1 < 2 != 3 < 2", "(1 < 2) != (3 < 2)"),
    ("1 + 2 < 4 - 0.5", "1 + 2 < 4 - 0.5"), ("true || 1 / 0 == 2", "true"),
    ("on ? 1 : 2", "1 if on else 2"), ("!on ? 1 : 2", "1 if not on else 2"),
    ("frame > 20 ? 1 : frame > 10 ? 2 : 3", "1 if frame > 20 else (2 if frame > 10 else 3)"),
    ("frame > 5 ? frame > 11 ? 1 : 2 : 3", "(1 if frame > 11 else 2) if frame > 5 else 3"),
    ("(on ? gain : 0) + 1", "(gain if on else 0) + 1"),
    ("on ? gain : 0 + 1", "gain if on else (0 + 1)"),
    ("false ? vec2(1) : vec2(2, 3)", "vec2(2, 3)"), ("on ? 'lit' : name", "'lit'"),
    ("frame < 50 && t > 0 ? 'unlit' : 'lit'", "'unlit' if frame < 50 and t > 0 else 'lit'"),
    ("(frame > 11) == (t > 0)", "(frame > 11) == (t > 0)"),
    ("frame == 0 ? 'never ' + 1 / 0 : 'ever'", "'ever'"),
    ("on || text(1, 99) == ''", "true"),
    ("(frame > 3 ? 1 : 2) + 3", "(1 if frame > 3 else 2) + 3"),
    ("3 + (frame > 30 ? 1 : 2) * 2", "3 + (1 if frame > 30 else 2) * 2"),
    ("-(frame > 30 ? 1 : 2)", "-(1 if frame > 30 else 2)"),
    ("max(frame > 3 ? 1 : 2, 0.5)", "max(1 if frame > 3 else 2, 0.5)"),
)]

if __name__ == "__main__":
    print("# made by make.py: expression, frame, type, value, ulps")
    for entry in ROWS:
        print("\t".join(row(*(entry if isinstance(entry, tuple) else (entry,)))))
