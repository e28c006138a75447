"""tests/bench/measure.py: interleaved timing, and rows of the report."""
import math
import os
import statistics
import time

# Speeds are compared at one thread and at two; on more cores two are still two.
THREADS = [1, 2] if len(os.sched_getaffinity(0)) > 1 else [1]

SLOW = 2.0  # seconds


class Contender:
    """One way to do a row's work. `run` does it once, and may answer by itself how many seconds it
    took; `prepare` is not timed."""

    def __init__(self, who, threads, run, prepare=None):
        self.who, self.threads, self.run, self.prepare = who, threads, run, prepare
        self.seconds, self.cpu = [], []

    @property
    def name(self):
        return f"{self.who}.{self.threads}"

    def once(self):
        """(seconds, seconds of processor time of all threads)"""
        if self.prepare:
            self.prepare()
        start, cpu = time.perf_counter(), time.process_time()
        took = self.run()
        if isinstance(took, float):
            return took, math.nan
        return time.perf_counter() - start, time.process_time() - cpu

    def keep(self, pair):
        self.seconds.append(pair[0])
        self.cpu.append(pair[1])

    @property
    def median(self):
        return statistics.median(self.seconds)

    @property
    def median_cpu(self):
        return statistics.median(self.cpu)


class Check:
    """What one side's result is off by, against values that are neither side's."""

    def __init__(self, who, error, tolerance, against):
        self.who, self.error, self.tolerance, self.against = who, error, tolerance, against

    @property
    def good(self):
        return self.error <= self.tolerance  # False for NaN


class Row:
    """A line of the comparison. moved_bytes is what the work must at least read and write."""

    def __init__(self, key, title, moved_bytes=0):
        self.key, self.title, self.moved_bytes = key, title, moved_bytes
        self.contenders, self.checks, self.notes, self.cleanup = [], [], [], []
        self.keep = None  # what must live until it is measured
        self.figures = {}

    def add(self, who, run, threads=(1,), prepare=None):
        """run(threads); prepare(threads) before each."""
        for n in threads:
            if n in THREADS:
                self.contenders.append(
                    Contender(who, n, lambda n=n: run(n), prepare and (lambda n=n: prepare(n))))

    def check(self, who, error, tolerance, against):
        self.checks.append(Check(who, float(error), tolerance, against))

    def is_wrong(self, who):
        return any(c.who == who and not c.good for c in self.checks)

    def missing(self, who, why="not installed"):
        self.notes.append(f"{who}: {why}")

    def measure(self, seconds=2.0, least=3, most=15):
        """Every contender once a round, in turn, so that what else the machine does meets all."""
        runners = [c for c in self.contenders if not self.is_wrong(c.who)]
        first = [c.once() for c in runners]
        took = [pair[0] for pair in first]
        rounds = max(least, min(most, int(seconds / max(sum(took), 1e-9))))
        if max(took, default=0) > SLOW:  # what takes so long needs no warming up
            rounds -= 1
            for c, pair in zip(runners, first):
                c.keep(pair)
        for i in range(rounds):
            for c in runners if i % 2 == 0 else reversed(runners):
                c.keep(c.once())
        for c in self.contenders:  # lets go of pictures, graphs and plans
            c.run = c.prepare = None
        self.keep = None
        for free in self.cleanup:
            free()
        return self

    def find(self, name, cpu=False):
        """Median seconds of "who.threads"; None when it was not measured."""
        for c in self.contenders:
            if c.name == name and c.seconds:
                return c.median_cpu if cpu else c.median
        return None


def milliseconds(seconds):
    if math.isnan(seconds):
        return "–"
    ms = seconds * 1e3
    return f"{ms:.2f}" if ms < 10 else f"{ms:.1f}" if ms < 100 else f"{ms:,.0f}"


def table(heads, rows, right=()):
    """Markdown; columns whose index is in `right` are aligned to the right."""
    lines = ["| " + " | ".join(heads) + " |",
             "| " + " | ".join("---:" if i in right else "---" for i in range(len(heads))) + " |"]
    lines += ["| " + " | ".join(str(cell) for cell in row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def comparison(rows):
    """All measurements of all rows, and what must be known about them."""
    lines = []
    for row in rows:
        for c in row.contenders:
            errors = [f"{k.error:.1e}" for k in row.checks if k.who == c.who]
            error = ", ".join(errors) or "–"
            ours = row.find(f"ours.{c.threads}") or row.find("ours.1")
            if not c.seconds:
                lines.append([row.title, c.who, c.threads, "WRONG", "", "", "", error])
                continue
            ratio = f"{c.median / ours:.2f}" if ours and c.who != "ours" else ""
            lines.append([row.title, c.who, c.threads, milliseconds(c.median),
                          f"{milliseconds(min(c.seconds))} to {milliseconds(max(c.seconds))}",
                          milliseconds(c.median_cpu),
                          ratio, error])
    notes = [f"- {row.title}: {note}.\n" for row in rows for note in row.notes]
    return table(["work", "who", "threads", "median ms", "from, to", "CPU ms", "of ours", "error"],
                 lines, right=(2, 3, 5, 6, 7)) + "\n" + "".join(notes)


def checks(rows):
    lines = [[row.title, c.who, f"{c.error:.1e}", f"{c.tolerance:.0e}",
              c.against, "" if c.good else "**WRONG: not timed**"]
             for row in rows for c in row.checks]
    return table(["work", "who", "error", "most", "against", ""], lines, right=(2, 3))
