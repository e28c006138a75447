"""tests/bench/targets.py: the table of targets, with why one is missed."""
import math
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


def _value(row, text, cpu=False):
    """Of "who.threads / who.threads", or of a figure of the row; None when not measured. By `cpu`
    time only where both sides have as many threads."""
    if " / " not in text:
        return None if cpu else row.figures.get(text)
    if cpu and len({name.rsplit(".", 1)[1] for name in text.split(" / ")}) > 1:
        return None
    top, bottom = (row.find(name, cpu) for name in text.split(" / "))
    return top / bottom if top and bottom else None


def _verdict(value, sense, wanted):
    if value >= wanted if sense == ">=" else value <= wanted:
        return "met"
    missing = wanted / value if sense == ">=" else value / wanted
    return f"**missed** by {(missing - 1) * 100:.0f} %"


def table(rows, keys):
    """Every target whose key begins with one of `keys`."""
    found = {row.key: row for row in rows}
    reasons = dict(_lines("reasons.txt"))
    lines = []
    for key, text in _lines("targets.txt"):
        what, sense, wanted = re.fullmatch(r"(.+) (>=|<=) ([\d.]+)", text).groups()
        row = found.get(key)
        if not key.startswith(tuple(keys)):
            continue
        value = _value(row, what) if row else None
        if value is None:
            verdict = "WRONG, see the checks" if row and row.is_wrong("ours") else "not measured"
            lines.append([row.title if row else key, what, f"{sense} {wanted}", "", "", verdict,
                          reasons.get(key, "")])
            continue
        verdict = _verdict(value, sense, float(wanted))
        why = reasons.get(key, "not looked at yet") if "missed" in verdict else ""
        cpu = _value(row, what, cpu=True) or math.nan  # nan: a side that counts by itself
        lines.append([row.title, what, f"{sense} {wanted}", f"{value:.2f}",
                      "" if math.isnan(cpu) else f"{cpu:.2f}", verdict, why])
    return measure.table(["work", "what", "target", "measured", "by CPU time", "", "why"], lines,
                         right=(3, 4))
