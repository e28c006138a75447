"""tests/engine/cli/drawing/check.py PROGRAM ROOT: what lampblack graph draws.

The SVG is read by an XML parser (expat). Boxes lie within the picture and do not overlap; lines lead
down from one box to another and run through no third one: checked at points along every line."""
import base64
import os
import random
import re
import struct
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as xml

PROGRAM, ROOT = sys.argv[1:3]
SVG = "{http://www.w3.org/2000/svg}"
failures = []


def expect(is_good, text):
    if not is_good:
        failures.append(text)


def graph(path, *words):
    ran = subprocess.run([PROGRAM, "graph", path, *words], capture_output=True, text=True)
    expect(ran.returncode == 0, f"{path} {words}: {ran.stderr}")
    return ran.stdout


def points(path):
    """Points along an SVG path of M, V and C with absolute numbers."""
    found, at = [], None
    for letter, rest in re.findall(r"([MVC])([^MVC]*)", path):
        n = [float(word) for word in re.findall(r"-?[0-9.]+(?:e[-+]?[0-9]+)?", rest)]
        if letter == "M":
            ends = [(n[0], n[1])]
        elif letter == "V":
            ends = [(at[0], at[1] + (n[0] - at[1]) * i / 8) for i in range(1, 9)]
        else:
            a, b, c, d = at, (n[0], n[1]), (n[2], n[3]), (n[4], n[5])
            ends = []
            for i in range(1, 17):
                t = i / 16
                w = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t ** 3)
                ends.append(tuple(w[0] * a[k] + w[1] * b[k] + w[2] * c[k] + w[3] * d[k]
                                  for k in range(2)))
        found += ends
        at = ends[-1]
    return found


def check_picture(name, text, boxes_due, lines_due):
    root = xml.fromstring(text)
    width, height = (float(root.get(key)) for key in ("width", "height"))
    boxes, lines = {}, []
    for group in root.iter(SVG + "g"):
        rect = group.find(SVG + "rect")
        x, y, w, h = (float(rect.get(key)) for key in ("x", "y", "width", "height"))
        boxes[group.find(SVG + "text").text] = (x, y, x + w, y + h)
        expect(0 <= x and 0 <= y and x + w <= width and y + h <= height, f"{name}: a box is outside")
        for label in group.iter(SVG + "text"):
            size = 13 if label.get("class") == "name" else 11
            expect(len(label.text) * size * 0.6 <= w, f"{name}: '{label.text}' is wider than its box")
    for path in root.iter(SVG + "path"):
        title = path.find(SVG + "title")
        if title is not None:
            source, target = re.match(r"(\S+) to (\S+)", title.text).groups()
            lines.append((source.split(".")[0], target, points(path.get("d"))))
    expect(len(boxes) == boxes_due, f"{name}: {len(boxes)} boxes of {boxes_due}")
    expect(len(lines) == lines_due, f"{name}: {len(lines)} lines of {lines_due}")
    places = list(boxes.values())
    for i, a in enumerate(places):
        for b in places[:i]:
            expect(a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1],
                   f"{name}: boxes overlap")
    for source, target, way in lines:
        from_box, to_box = boxes[source], boxes[target]
        expect(abs(way[0][1] - from_box[3]) < 0.5 and from_box[0] < way[0][0] < from_box[2],
               f"{name}: the line from {source} does not begin at it")
        expect(abs(way[-1][1] - to_box[1]) < 6 and to_box[0] < way[-1][0] < to_box[2],
               f"{name}: the line to {target} does not end at it")
        expect(all(a[1] <= b[1] + 1e-6 for a, b in zip(way, way[1:])),
               f"{name}: the line from {source} to {target} goes up")
        for other, box in boxes.items():
            expect(not any(box[0] < x < box[2] and box[1] < y < box[3] for x, y in way),
                   f"{name}: the line from {source} to {target} runs through {other}")
    return root


def random_graph(seed, count):
    """A graph of pictures in which a node takes two of those before it, near or far."""
    rng = random.Random(seed)
    lines, edges = ["  n0: {op: solid, color: '#fff'}\n"], 0
    for i in range(1, count):
        a, b = (max(0, i - 1 - int(rng.expovariate(0.25))) for _ in range(2))
        kind = rng.randrange(4)
        if kind == 0:
            lines.append(f"  n{i}: {{op: solid, color: '#000'}}\n")
        elif kind == 1:
            lines.append(f"  n{i}: {{op: exposure, image: n{a}}}\n")
        else:
            lines.append(f"  n{i}: {{op: composite, source: n{a}, backdrop: n{b}}}\n")
        edges += kind if kind < 2 else 2
    return ("lampblack: 1\nframe: {size: [64, 36], rate: 25, range: [1, 9]}\nnodes:\n"
            + "".join(lines) + f"outputs:\n  out: {{image: n{count - 1}, "
            "file: \"a&b<c>.####.png\"}\n", edges + 1)


PARTS = """lampblack: 1
frame: {size: [64, 36], rate: 25, range: [1, 9]}
parts:
  halo:
    inputs: {image: image, mask: optional image}
    nodes:
      hot: {op: glow, image: image, mask: mask}
      soft: {op: blur, image: hot}
      out: {op: composite, source: soft, backdrop: image, mask: mask}
    result: out
nodes:
  s: {op: solid}
  m: {op: gradient, stops: [{color: '#fff'}, {color: '#000'}]}
  a: {op: part/halo, image: s, mask: m}
  b: {op: part/halo, image: a}
outputs:
  out: {image: b, file: "a.####.png"}
"""


def main():
    kiln = os.path.join(ROOT, "tests", "engine", "cli", "example", "kiln.yaml")
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(1, 13):
            count = (1, 2, 5, 20, 60, 60, 60, 60, 60, 60, 150, 400)[seed - 1]
            text, edges = random_graph(seed, count)
            path = os.path.join(folder, f"g{seed}.yaml")
            with open(path, "w", encoding="utf-8") as file:
                file.write(text)
            svg = graph(path)
            check_picture(f"seed {seed}", svg, count + 1, edges)
            expect(svg == graph(path), f"seed {seed}: two runs differ")
            dot = graph(path, "--dot", "-")
            expect(len(re.findall(r"^  n\d+ -> [no]\d+ \[.*\];$", dot, re.M)) == edges and
                   len(re.findall(r'^  [no]\d+ \[label="[^"]*"[^\]]*\];$', dot, re.M)) == count + 1,
                   f"seed {seed}: the DOT text has not all nodes and edges")
        path = os.path.join(folder, "parts.yaml")
        with open(path, "w", encoding="utf-8") as file:
            file.write(PARTS)
        check_picture("uses of parts", graph(path), 5, 4)  # s, m to a; a to b; b to out
        check_picture("parts opened", graph(path, "--parts"), 9, 11)
        root = xml.fromstring(graph(kiln, "--thumbnails", "--frame", "2"))
        images = list(root.iter(SVG + "image"))
        expect(len(images) > 1, "there are no thumbnails")
        for image in images:
            png = base64.b64decode(image.get("href").split(",", 1)[1], validate=True)
            size = struct.unpack(">II", png[16:24])
            expect(png[:8] == b"\x89PNG\r\n\x1a\n", "a thumbnail is no PNG")
            expect(size == (int(image.get("width")), int(image.get("height"))) and size[0] <= 160,
                   f"a thumbnail of {size} is shown otherwise")
    for failure in failures[:20]:
        print(f"failed: {failure}")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
