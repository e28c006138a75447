"""tests/bench/many.py: more threads than the machine has, reckoned from what a frame is made of.

bench-span writes down which loops a frame consists of, how long each of their pieces takes on one
thread, and which batches wait for which. Here as many threads as asked for take the pieces as
engine/base/thread.c lets them: idle ones join the newest loop that has some left; who has begun a
loop helps inside it until it ends; a batch waits for those it needs and its thread helps with loops
that only compute. Entering, joining and leaving a loop takes the pool's lock, which one thread at a
time can have; who has nothing to do for a while sleeps and takes time to be woken. Memory is
taken to be as fast for all threads as for one, so the figures are a bound from above."""
import heapq
import json
import os
import subprocess

import frames
import measure
import ours

LOCK_S = 1e-7    # how long the pool's lock is held at a time
SPIN_S = 2e-5    # how long an idle thread watches before it sleeps, as thread.c has it
WAKE_S = 3.5e-5  # how long it takes to wake one
THREADS = (1, 2, 4, 8, 16, 32, 64)
FRAMES_EACH = 3  # frames a thread, when several are made at once


class Job:
    """A loop that is being done."""

    def __init__(self, pieces, needs, outer):
        self.pieces, self.needs, self.outer = pieces, needs, outer
        self.next = self.inside = 0
        self.done = [False] * len(pieces) if needs is not None else None

    def is_within(self, outer):
        job = self
        while job is not None and job is not outer:
            job = job.outer
        return job is outer


class Machine:
    def __init__(self, threads):
        self.now = 0.0
        self.threads = threads
        self.jobs = []  # the newest last
        self.lock_free = 0.0
        self.events = []  # (time, number, thread)
        self.idle = {}  # thread: since when
        self.count = 0
        self.is_over = False

    def at(self, time, thread):
        self.count += 1
        heapq.heappush(self.events, (time, self.count, thread))

    def lock(self):
        """When a thread that asks for the lock now has had it."""
        self.lock_free = max(self.now, self.lock_free) + LOCK_S
        return self.lock_free - self.now

    def changed(self):
        for thread, since in self.idle.items():
            asleep = self.now - since > SPIN_S
            self.at(self.now + (WAKE_S if asleep else 0), thread)
        self.idle = {}

    def join(self, outer, brief):
        for job in reversed(self.jobs):
            if job is outer:
                return None
            if job.next < len(job.pieces) and not (brief and job.needs is not None) and \
                    (outer is None or job.is_within(outer)):
                job.inside += 1
                return job
        return None

    # Threads are generators: a number is time that passes, None waits for something to change.

    def work_on(self, job, is_member):
        while job.next < len(job.pieces):
            index = job.next
            job.next += 1
            while job.needs is not None and not all(job.done[k] for k in job.needs[index]):
                inner = self.join(None, True) if is_member or job.outer is None else None
                if inner is None:
                    yield None
                else:
                    yield self.lock()
                    yield from self.help(inner, is_member)
            yield from self.do(job.pieces[index], job, is_member)
            if job.needs is not None:
                job.done[index] = True
                yield self.lock()
                self.changed()

    def help(self, job, is_member):
        yield from self.work_on(job, is_member)
        yield self.lock()
        job.inside -= 1
        self.changed()

    def do(self, piece, around, is_member):
        for item in piece:
            if isinstance(item, float):
                yield item
                continue
            job = Job(item["pieces"], item.get("needs"), around)
            yield self.lock()
            self.jobs.append(job)
            self.changed()
            yield from self.work_on(job, is_member)
            yield self.lock()
            while job.inside > 0:
                inner = self.join(job, False)
                if inner is None:
                    yield None
                else:
                    yield from self.help(inner, is_member)
            self.jobs.remove(job)

    def member(self):
        while not self.is_over:
            job = self.join(None, False)
            if job is None:
                yield None
            else:
                yield self.lock()
                yield from self.help(job, True)

    def caller(self, piece):
        yield from self.do(piece, None, False)
        self.is_over = True

    def run(self, piece):
        for i in range(self.threads):
            self.at(0.0, self.caller(piece) if i == 0 else self.member())
        while self.events and not self.is_over:
            self.now, _, thread = heapq.heappop(self.events)
            try:
                wait = next(thread)
            except StopIteration:
                continue
            if wait is None:
                self.idle[thread] = self.now
            else:
                self.at(self.now + wait, thread)
        if not self.is_over:
            raise RuntimeError("all threads wait for each other")
        return self.now


def work(piece):
    """Seconds in all of it, on one thread without locks."""
    return sum(item if isinstance(item, float) else sum(map(work, item["pieces"]))
               for item in piece)


def span(piece):
    """The longest way through it that has to be gone one after the other."""
    total = 0.0
    for item in piece:
        if isinstance(item, float):
            total += item
        elif "needs" in item:
            ends = []
            for needs, part in zip(item["needs"], item["pieces"]):
                ends.append(span(part) + max((ends[k] for k in needs), default=0.0))
            total += max(ends)
        else:
            total += max(map(span, item["pieces"]))
    return total


def side_by_side(frame, threads):
    """Frames in lanes, one a thread, as lb_run_frames has them."""
    lanes = [frame * FRAMES_EACH for _ in range(threads)]
    return [{"pieces": lanes, "needs": [[]] * threads}] if threads > 1 else lanes[0]


def section(build):
    """The table; measured beside reckoned where the machine has the threads."""
    told = subprocess.run([os.path.join(build, "tests", "bench", "bench-span"), ours.KILN,
                           str(frames.FRAME)], check=True, capture_output=True, text=True)
    frame = json.loads(told.stdout, parse_int=float)
    for item in frame:
        if not isinstance(item, float) and "needs" in item:
            item["needs"] = [[int(k) for k in needs] for needs in item["needs"]]
    alone = Machine(1).run(frame)
    lines = []
    for threads in THREADS:
        one = Machine(threads).run(frame)
        many = Machine(threads).run(side_by_side(frame, threads))
        lines.append([str(threads), f"{one * 1000:.0f}", f"{alone / one:.2f}",
                      f"{FRAMES_EACH * threads / many:.2f}",
                      f"{alone * FRAMES_EACH * threads / many:.2f}"])
    table = measure.table(["threads", "one frame, ms", "times one", "frames a second", "times one"],
                          lines, right=range(0, 5))
    return (f"Frame {frames.FRAME} takes {work(frame) * 1000:.0f} ms on one thread in "
            f"{count(frame):,} pieces; {span(frame) * 1000:.1f} ms of it come one after the other, "
            f"however many threads there are.\n\n" + table)


def count(piece):
    return sum(1 if isinstance(item, float) else sum(map(count, item["pieces"])) for item in piece)
