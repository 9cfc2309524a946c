"""What a command costs, over rounds and over sizes, as Markdown tables."""
import math
import os
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time

rounds = 5


def table(title, head, rows):
    print("\n### %s\n" % title)
    print("| " + " | ".join(head) + " |")
    print("|" + " --- |" * len(head))
    for row in rows:
        print("| " + " | ".join(str(cell) for cell in row) + " |")
    sys.stdout.flush()


class Cost:
    """What a child process took."""

    def __init__(self, wall_s, cpu_s, peak_mb, out):
        self.wall_s, self.cpu_s, self.peak_mb, self.out = wall_s, cpu_s, peak_mb, out


def peak_of(child):
    """High-water mark of its memory so far, MB; 0 once it has ended."""
    try:
        found = re.search(r"VmHWM:\s+(\d+)", open("/proc/%d/status" % child.pid).read())
    except OSError:
        return 0
    return int(found.group(1)) / 1024 if found else 0


def cost_of(command, timeout=900, stdin=None):
    """Runs to the end. The peak is sampled: what wait4 tells includes this program's own."""
    out = tempfile.TemporaryFile()
    start = time.monotonic()
    child = subprocess.Popen(command, stdout=out, stderr=subprocess.PIPE, stdin=stdin)
    peak, over = [0], threading.Event()

    def watch():
        while not over.wait(0.02):
            peak[0] = max(peak[0], peak_of(child))
            if time.monotonic() - start > timeout:
                child.kill()

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        error = child.stderr.read()
        _, status, usage = os.wait4(child.pid, 0)
    finally:
        over.set()
        watcher.join()
    wall_s = time.monotonic() - start
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        raise SystemExit("%s: %s" % (" ".join(command), error.decode(errors="replace")))
    out.seek(0)
    return Cost(wall_s, usage.ru_utime + usage.ru_stime, peak[0],
                out.read().decode(errors="replace"))


def median(values):
    return statistics.median(values)


def interleaved(contenders):
    """Every contender once a round: what disturbs the machine disturbs all. {name: [Cost]}"""
    costs = {name: [] for name in contenders}
    for _ in range(rounds):
        for name, run in contenders.items():
            costs[name].append(run())
    return costs


def slope(sizes, costs):
    """Of log cost against log size: 1 is linear."""
    x, y = [math.log(s) for s in sizes], [math.log(max(c, 1e-4)) for c in costs]
    mx, my = statistics.mean(x), statistics.mean(y)
    return sum((a - mx) * (b - my) for a, b in zip(x, y)) / sum((a - mx) ** 2 for a in x)


def grows(what, sizes, run):
    """@param run  the Cost of a size"""
    costs, peaks = [], []
    for size in sizes:
        runs = [run(size) for _ in range(3)]
        costs.append(median(cost.cpu_s for cost in runs))
        peaks.append(max(cost.peak_mb for cost in runs))
    return [what, ", ".join("{:,}".format(s).replace(",", " ") for s in sizes),
            ", ".join("%.2f" % c for c in costs), "%.2f" % slope(sizes, costs),
            ", ".join("%.0f" % peak for peak in peaks)]
