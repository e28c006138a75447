"""tests/lang/schema/check.py PROGRAM ROOT: the JSON Schema beside the program.

The schema is itself valid; every graph of the examples, the documentation and the tests is valid by
it; broken ones are invalid, and the program refuses them too; every range and word of the schema is
one that the program keeps to. The validator is python-jsonschema (Draft 2020-12), and ajv, of npm,
in tests/lang/schema/ajv.js where AJV names a folder that has it."""
import glob
import json
import os
import re
import subprocess
import sys
import tempfile

import jsonschema
import yaml

PROGRAM, ROOT = sys.argv[1:3]
failures = []


class Loader(yaml.SafeLoader):
    """YAML 1.2's core schema with merge keys: PyYAML by itself reads 1.1."""


Loader.yaml_implicit_resolvers = {}
for tag, pattern, first in (
        ("bool", r"^(true|True|TRUE|false|False|FALSE)$", "tTfF"),
        ("int", r"^([-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+)$", "-+0123456789"),
        ("float", r"^[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?$", "-+.0123456789"),
        ("null", r"^(~|null|Null|NULL|)$", ["~", "n", "N", ""]),
        ("merge", r"^<<$", "<")):
    Loader.add_implicit_resolver(f"tag:yaml.org,2002:{tag}", re.compile(pattern), list(first))


def as_json(text):
    """What a YAML file says, with keys as JSON has them."""
    def keys(value):
        if isinstance(value, dict):
            return {str(k): keys(v) for k, v in value.items()}
        return [keys(v) for v in value] if isinstance(value, list) else value
    return keys(yaml.load(text, Loader))


def expect(is_good, text):
    if not is_good:
        failures.append(text)


def program(command, text=None, *words):
    """Exit status and standard error of the program on a graph."""
    if text is None:
        return subprocess.run([PROGRAM, command, *words], capture_output=True, text=True)
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "graph.yaml")
        with open(path, "w", encoding="utf-8") as file:
            file.write(text)
        return subprocess.run([PROGRAM, command, path, *words], capture_output=True, text=True)


def whole_graphs():
    """Every graph that is meant to be good: files and blocks of the documentation."""
    for pattern in ("examples/**/*.yaml", "tests/determinism/**/*.yaml", "tests/engine/cli/**/*.yaml"):
        for path in sorted(glob.glob(os.path.join(ROOT, pattern), recursive=True)):
            if os.sep + "out" + os.sep in path or "louver" in path:  # one needs a shared object
                continue
            with open(path, encoding="utf-8") as file:
                yield os.path.relpath(path, ROOT), file.read()
    for page in sorted(glob.glob(os.path.join(ROOT, "docs", "**", "*.md"), recursive=True)):
        with open(page, encoding="utf-8") as file:
            blocks = re.findall(r"^```yaml(?: [a-z]+\.yaml)?\n(.*?)^```", file.read(), re.M | re.S)
        for i, block in enumerate(blocks):
            if block.startswith("lampblack: 1"):
                yield f"{os.path.relpath(page, ROOT)}, block {i + 1}", block


BASE = """lampblack: 1
frame: {size: [64, 36], rate: 25, range: [1, 10]}
params: {warmth: 1.2}
nodes:
  night: {op: solid, color: "#102030"}
  soft: {op: blur, image: night, sigma: 2}
  over: {op: composite, source: soft, backdrop: night, operator: source-over, opacity: 0.5}
outputs:
  master: {image: over, file: "out/a.####.exr", depth: half}
"""

# What is wrong, and the text that is put in the place of another.
BROKEN = [
    ("another version", "lampblack: 1", "lampblack: 2"),
    ("no frame", "frame: {size: [64, 36], rate: 25, range: [1, 10]}\n", ""),
    ("no rate", "rate: 25, ", ""),
    ("one side only", "size: [64, 36]", "size: [64]"),
    ("a side of 0", "size: [64, 36]", "size: [0, 36]"),
    ("a fraction of a frame", "range: [1, 10]", "range: [1.5, 10]"),
    ("an unknown section", "params:", "parms:"),
    ("a name with a blank", "{warmth: 1.2}", "{war mth: 1.2}"),
    ("a param that is a list of lists", "{warmth: 1.2}", "{warmth: [[1], [2]]}"),
    ("an unknown operator", "op: blur", "op: blurr"),
    ("no operator", "op: blur, ", ""),
    ("an unknown key", "sigma: 2", "sigam: 2"),
    ("a missing input", "source: soft, ", ""),
    ("a list where one node goes", "source: soft", "source: [soft]"),
    ("text for a number", "sigma: 2", "sigma: wide"),
    ("too many numbers", "sigma: 2", "sigma: [1, 2, 3]"),
    ("below the range", "opacity: 0.5", "opacity: -0.5"),
    ("an unknown word", "operator: source-over", "operator: source-under"),
    ("a colour of five digits", "#102030", "#10203"),
    ("an unknown form of value", "sigma: 2", "sigma: {kees: {1: 2}}"),
    ("two forms of value", "sigma: 2", "sigma: {param: warmth, expr: '1'}"),
    ("keys that are empty", "sigma: 2", "sigma: {keys: {}}"),
    ("a key whose frame is a word", "sigma: 2", "sigma: {keys: {one: 2}}"),
    ("a key without value", "sigma: 2", "sigma: {keys: [{at: 1}]}"),
    ("an unknown extrapolation", "sigma: 2", "sigma: {keys: {1: 2}, after: stop}"),
    ("an output without a file", ", file: \"out/a.####.exr\"", ""),
    ("an output of no node", "image: over, file", "file"),
    ("an unknown depth", "depth: half", "depth: quarter"),
    ("an output's number that moves", "depth: half", "quality: {keys: {1: 2, 3: 4}}"),
]


def limits(schema):
    """A node for each limit and each list of words of each operator, just beyond it: one graph, and
    what the program must say of it."""
    nodes, said = [], []

    def add(op, key, value, what):
        nodes.append(f"  n{len(nodes)}: {{op: {op}, {key}: {value}}}\n")
        said.append((op, key, value, what))

    for name, op in schema["$defs"].items():
        if not name.startswith("op-"):
            continue
        for key, prop in op["properties"].items():
            for form in prop.get("anyOf", []) if isinstance(prop, dict) else []:
                if "maximum" in form:
                    add(name[3:], key, form["maximum"] + 1, "it goes from")
                if "minimum" in form:
                    add(name[3:], key, form["minimum"] - 1, "it (goes from|must be)")
                if "enum" in form:
                    add(name[3:], key, "no-such-word", "it is one of")
    return BASE.split("nodes:")[0] + "nodes:\n" + "".join(nodes), said


def main():
    schema = json.loads(program("schema").stdout)
    validator = jsonschema.Draft202012Validator(schema)
    jsonschema.Draft202012Validator.check_schema(schema)
    cases, count = [], 0
    for name, text in whole_graphs():
        cases.append((name, as_json(text), True))
    expect(len(cases) > 15, f"only {len(cases)} graphs were found")
    cases.append(("the graph that is broken below", as_json(BASE), True))
    expect(program("check", BASE).returncode == 0, "the graph that is broken below is not good")
    for what, old, new in BROKEN:
        text = BASE.replace(old, new)
        expect(text != BASE, f"{what}: nothing was changed")
        cases.append((what, as_json(text), False))
        expect(program("check", text).returncode == 1, f"{what}: the program takes it")
    for name, graph, is_good in cases:
        errors = list(validator.iter_errors(graph))
        count += 1
        expect((not errors) == is_good, f"{name}: " + (
            f"{list(errors[0].absolute_path)}: {errors[0].message[:300]}" if errors else
            "valid by the schema"))

    text, said = limits(schema)
    expect(len(said) > 100, f"only {len(said)} limits were found")
    graph = as_json(text)
    told = "\n".join(m["message"] for m in json.loads(program("check", text, "--json").stdout))
    for i, (op, key, value, what) in enumerate(said):
        errors = list(validator.iter_errors({**graph, "nodes": {"n": graph["nodes"][f"n{i}"]}}))
        expect(any("n" in error.absolute_path and key in error.absolute_path for error in errors),
               f"{op}.{key}: {value} is valid by the schema")
        expect(re.search(rf"'{re.escape(key)}' (is|holds) [^\n]*{what}", told),
               f"{op}.{key}: the program takes {value}")

    if os.environ.get("AJV"):
        with tempfile.NamedTemporaryFile("w", suffix=".json") as file:
            json.dump({"schema": schema, "cases": [
                {"name": n, "graph": g, "good": good} for n, g, good in cases]}, file)
            file.flush()
            ran = subprocess.run(["node", os.path.join(os.path.dirname(__file__), "ajv.js"),
                                  os.environ["AJV"], file.name], capture_output=True, text=True)
        expect(ran.returncode == 0, f"ajv: {ran.stdout}{ran.stderr}")
    print(f"{count} graphs, {len(said)} limits; python-jsonschema"
          + (", ajv" if os.environ.get("AJV") else ", no ajv"))
    for failure in failures:
        print(f"failed: {failure}")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
