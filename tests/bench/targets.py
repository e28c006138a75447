"""tests/bench/targets.py: the table of targets, with why one is missed."""
import os
import re

import measure

HERE = os.path.dirname(os.path.abspath(__file__))


def _lines(name):
    with open(os.path.join(HERE, name), encoding="utf-8") as file:
        for line in file:
            if line.strip() and not line.startswith("#"):
                key, text = line.strip().split(": ", 1)
                yield key, text


def _value(row, text):
    """Of "who.threads / who.threads", or of a figure of the row; None when not measured."""
    if " / " not in text:
        return getattr(row, "figures", {}).get(text)
    top, bottom = (row.find(name) for name in text.split(" / "))
    return top / bottom if top and bottom else None


def _verdict(value, sense, wanted):
    if value >= wanted if sense == ">=" else value <= wanted:
        return "met"
    missing = wanted / value if sense == ">=" else value / wanted
    return f"**missed** by {(missing - 1) * 100:.0f} %"


def table(rows, keys=None):
    """Every target whose row is in `rows` or whose key begins like one of `keys`."""
    found = {row.key: row for row in rows}
    reasons = dict(_lines("reasons.txt"))
    lines = []
    for key, text in _lines("targets.txt"):
        what, sense, wanted = re.fullmatch(r"(.+) (>=|<=) ([\d.]+)", text).groups()
        row = found.get(key)
        if row is None:
            if keys and key.startswith(tuple(keys)):
                lines.append([key, what, f"{sense} {wanted}", "", "not measured", ""])
            continue
        value = _value(row, what)
        if value is None:
            why = "WRONG, see the checks" if row.is_wrong("ours") else "not measured"
            lines.append([row.title, what, f"{sense} {wanted}", "", why, ""])
            continue
        verdict = _verdict(value, sense, float(wanted))
        why = reasons.get(key, "not looked at yet") if "missed" in verdict else ""
        lines.append([row.title, what, f"{sense} {wanted}", f"{value:.2f}", verdict, why])
    return measure.table(["work", "what", "target", "measured", "", "why"], lines, right=(3,))
