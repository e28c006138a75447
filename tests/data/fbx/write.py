"""Writes FBX files for tests from one description: text, and binary 7400 and 7500.

A node is N(name, values..., kids...): int (32 bits), L (64 bits), float (64 bits), str, Named
(an object's name with its class), bytes, A (an array), and nodes inside it. The layout is common
practice; no file of another program was used.
"""

import base64
import struct
import zlib

SIGNATURE = bytes.fromhex("4b617964617261") + b" FBX Binary  \0\x1a\0"
FOOT = bytes.fromhex("f85a8c6adef5d97eece90ce3758f290b")


class L(int):
    pass


class Short(int):
    pass


class Flag(int):
    pass


class Bits(int):
    """An element of a float array that is 32 bits and no number: text files write it as a whole."""


class Named:
    def __init__(self, name, kind):
        self.name, self.kind = name, kind


class A:
    """An array: code is one of f d i l b; packed by zlib in a binary file if `pack`."""

    def __init__(self, code, numbers, pack=True):
        self.code, self.numbers, self.pack = code, list(numbers), pack


class N:
    def __init__(self, name, *parts):
        self.name = name
        self.values = [p for p in parts if not isinstance(p, N)]
        self.kids = [p for p in parts if isinstance(p, N)]


FORMATS = {"f": "f", "d": "d", "i": "i", "l": "q", "b": "B"}


def binary_value(v):
    if isinstance(v, Flag):
        return b"C" + struct.pack("<B", v)
    if isinstance(v, Short):
        return b"Y" + struct.pack("<h", v)
    if isinstance(v, L):
        return b"L" + struct.pack("<q", v)
    if isinstance(v, int):
        return b"I" + struct.pack("<i", v)
    if isinstance(v, float):
        return b"D" + struct.pack("<d", v)
    if isinstance(v, Named):
        v = v.name + "\0\1" + v.kind
    if isinstance(v, str):
        data = v.encode()
        return b"S" + struct.pack("<I", len(data)) + data
    if isinstance(v, bytes):
        return b"R" + struct.pack("<I", len(v)) + v
    data = b"".join(struct.pack("<I", n) if isinstance(n, Bits) else
                    struct.pack("<" + FORMATS[v.code], n) for n in v.numbers)
    stored = zlib.compress(data, 6) if v.pack else data
    head = struct.pack("<III", len(v.numbers), int(v.pack), len(stored))
    return v.code.encode() + head + stored


def binary_node(node, at, wide):
    width = 25 if wide else 13
    values = b"".join(binary_value(v) for v in node.values)
    name = node.name.encode()
    body = b""
    start = at + width + len(name) + len(values)
    for kid in node.kids:
        body += binary_node(kid, start + len(body), wide)
    if node.kids:
        body += bytes(width)
    head = struct.pack("<QQQ" if wide else "<III", start + len(body), len(node.values), len(values))
    return head + bytes([len(name)]) + name + values + body


def binary(nodes, version):
    out = SIGNATURE + struct.pack("<I", version)
    for node in nodes:
        out += binary_node(node, len(out), version >= 7500)
    out += bytes(25 if version >= 7500 else 13)
    return out + bytes(16) + bytes(-len(out) % 16) + bytes(4) + struct.pack("<I", version) + \
        bytes(120) + FOOT


def number_text(v):
    if isinstance(v, int):
        return str(int(v))
    return repr(float(v)) if v == v else "nan"


def float_text(v):
    """The shortest text of a 32-bit float."""
    if isinstance(v, Bits):
        return str(int(v))
    v = struct.unpack("<f", struct.pack("<f", v))[0]
    for digits in range(6, 10):
        text = "%.*g" % (digits, v)
        if struct.unpack("<f", struct.pack("<f", float(text)))[0] == v:
            break
    return text


def text_value(v, tabs):
    if isinstance(v, Named):
        return '"%s::%s"' % (v.kind, v.name)
    if isinstance(v, Flag):
        return "T" if v else "F"
    if isinstance(v, str):
        return '"%s"' % v.replace('"', "&quot;")
    if isinstance(v, bytes):
        coded = base64.b64encode(v).decode()
        return ",\n" + ",\n".join('"%s"' % coded[i:i + 76] for i in range(0, len(coded), 76))
    if isinstance(v, A):
        write = float_text if v.code == "f" else number_text
        words = [write(n) for n in v.numbers]
        lines = [",".join(words[i:i + 12]) for i in range(0, len(words), 12)]
        return "*%d {\n%s\ta: %s\n%s}" % (len(words), tabs, ",\n".join(lines), tabs)
    return number_text(v)


def text_node(node, depth):
    tabs = "\t" * depth
    out = tabs + node.name + ": " + ", ".join(text_value(v, tabs) for v in node.values)
    if node.kids or (not node.values):
        out += " {\n" + "".join(text_node(k, depth + 1) for k in node.kids) + tabs + "}"
    return out + "\n"


def text(nodes):
    return ("; FBX 7.4.0 project file\n; written for a test\n\n" +
            "".join(text_node(n, 0) for n in nodes)).encode()


def save(path, nodes):
    """PATH-text.fbx, PATH-7400.fbx, PATH-7500.fbx."""
    for kind, data in (("text", text(nodes)), ("7400", binary(nodes, 7400)),
                       ("7500", binary(nodes, 7500))):
        with open("%s-%s.fbx" % (path, kind), "wb") as file:
            file.write(data)
