"""Writes bezier.csv: CSS cubic-bezier() to all digits of a double, and how fast each value changes.

CSS Easing Functions Level 1, section 2.2: the curve from (0, 0) to (1, 1) with two control points;
x is given, the curve's parameter is found by mpmath at 60 digits. Outside 0 .. 1 the tangent at that
end goes on; a vertical one holds. `slope` is dy/dx there.

Run: python3 make.py > bezier.csv (needs python3-mpmath).
"""

import mpmath
from mpmath import mpf

mpmath.mp.dps = 60

CURVES = {
    "linear": (0, 0, 1, 1), "ease": (0.25, 0.1, 0.25, 1), "ease-in": (0.42, 0, 1, 1),
    "ease-out": (0, 0, 0.58, 1), "ease-in-out": (0.42, 0, 0.58, 1),
}
OTHERS = [
    (0.2, 0, 0, 1), (0.5, 1, 0.5, 0), (0, 1.5, 1, 1.5), (0, -0.5, 1, -0.5), (0.1, 0.9, 0.9, 0.1),
    (1, 0, 0, 1), (0, 1, 1, 0), (0.68, -0.55, 0.265, 1.55), (0.9, 0.1, 0.1, 0.9), (0.5, 0.5, 0.5, 0.5),
    (0.05, 0.7, 0.1, 1), (0.999, 0, 0.001, 1), (0.3, 0, 0.8, 0.15), (0.7, -2, 0.3, 3), (1, 1, 0, 0),
    (0.000001, 0.5, 0.999999, 0.5), (0.25, 1, 0.25, 0.1), (0.6, 0.04, 0.98, 0.335),
]
INPUTS = [-1, -0.25, 0, 1e-9, 0.001, 0.01, 0.05, 0.1, 0.2, 0.25, 1 / 3, 0.4, 0.5, 0.6, 2 / 3, 0.75, 0.8,
          0.9, 0.95, 0.99, 0.999, 0.999999, 1, 1.25, 2]


def at(a, b, s):
    return 3 * (1 - s) ** 2 * s * a + 3 * (1 - s) * s * s * b + s**3


def rate(a, b, s):
    return 3 * (1 - s) ** 2 * a + 6 * (1 - s) * s * (b - a) + 3 * s * s * (1 - b)


def find(x1, x2, x):
    """The parameter of a point between the ends, by halving."""
    low, high = mpf(0), mpf(1)
    for _ in range(190):
        middle = (low + high) / 2
        if at(x1, x2, middle) < x:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def end_slope(x1, y1, x2, y2):
    """At the start; from the nearer control point that does not lie on the start."""
    if x1 > 0:
        return y1 / x1
    if y1 == 0 and x2 > 0:
        return y2 / x2
    if y1 == 0 and x2 == 0 and y2 == 0:
        return mpf(1)
    return mpf(0)


def ease(curve, x):
    x1, y1, x2, y2 = (mpf(c) for c in curve)
    x = mpf(x)
    if x <= 0:
        slope = end_slope(x1, y1, x2, y2)
        return slope * x, slope
    if x >= 1:
        slope = end_slope(1 - x2, 1 - y2, 1 - x1, 1 - y1)
        return 1 + slope * (x - 1), slope
    s = find(x1, x2, x)
    down = rate(x1, x2, s)
    return at(y1, y2, s), rate(y1, y2, s) / down if down > mpf(10) ** -20 else mpf(10) ** 9


print("# source: CSS Easing Functions Level 1, section 2.2")
print("# status: computed from the published formula by make.py, mpmath 1.2.1, 60 digits")
print("name,x1,y1,x2,y2,input,output,slope")
for name, curve in list(CURVES.items()) + [("custom", curve) for curve in OTHERS]:
    for x in INPUTS:
        y, slope = ease(curve, x)
        print("%s,%s,%r,%r,%s" % (name, ",".join(repr(c) for c in curve), x, float(y),
                                  mpmath.nstr(abs(slope), 4)))
