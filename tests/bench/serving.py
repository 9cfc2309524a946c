"""What clients wait for: answers to many at once, with nothing recorded and while recording."""
import json
import os
import re
import selectors
import shutil
import socket
import subprocess
import time
import urllib.parse
import urllib.request

import traffic
from daemon import Daemon, LiveEvents, ROUNDEL, config, share_of
from timing import cost_of, median, table

CLIENTS = 50
YEAR_STARTS_S = 1772323200  # as make_store makes it
HANDLER = "a handler in node that sends 20 kB it has"

# What the page asks for, and the part of the query that makes a question new.
QUESTIONS = {"/": None, "/health": None, "/api/site": None, "/api/trials": "from",
             "/api/reach": "from", "/api/field": "from", "/api/verdict": "from",
             "/api/cut?bearing_deg=152.5": "from", "/api/hours": "from", "/api/drift": "from",
             "/api/expect": None, "/api/status": None}
# The verdict of a new selection is asked for before its cut, as the page does; this one's is not.
UNJUDGED = "/api/cut of a selection whose verdict nobody has asked for"


def wrk(url, seconds):
    """CLIENTS at once, each asking again as soon as it is answered, as a browser asks."""
    out = cost_of(["wrk", "-t1", "-c%d" % CLIENTS, "-d%ds" % seconds, "--timeout", "30s",
                   "--latency", "-H", "Accept-Encoding: gzip", url], timeout=seconds + 60).out

    def number(pattern):
        found = re.search(pattern, out)
        return float(found.group(1)) if found else 0

    def milliseconds(share):
        found = re.search(r"\s%d%%\s+([\d.]+)(us|ms|s|m)\b" % share, out)
        scale = {"us": 0.001, "ms": 1, "s": 1000, "m": 60000}
        return float(found.group(1)) * scale[found.group(2)] if found else 0
    return {"rate": number(r"Requests/sec:\s+(\S+)"), "p50": milliseconds(50),
            "p99": milliseconds(99),
            "failed": int(number(r"Non-2xx or 3xx responses: (\d+)")
                          + sum(map(int, re.findall(r"(?:connect|read|write|timeout) (\d+)", out))))}


class Handler:
    """The trivial handler, in a process of its own."""

    def __init__(self, folder):
        self._child = subprocess.Popen(["node", os.path.join(folder, "trivial.mjs"), "20000"],
                                       stdout=subprocess.PIPE, text=True)
        self.url = "http://127.0.0.1:%s/" % self._child.stdout.readline().strip()

    def stop(self):
        self._child.kill()
        self._child.wait()


class Crowd:
    """Clients that ask the same at the same moment, and what each has waited for its answer."""

    def __init__(self, url):
        where = urllib.parse.urlsplit(url)
        self._at = (where.hostname, where.port)

    def ask(self, path):
        """(seconds by client, how many were not answered with 200)"""
        question = ("GET %s HTTP/1.1\r\nHost: %s:%d\r\nAccept-Encoding: gzip\r\n"
                    "Connection: close\r\n\r\n" % (path, *self._at)).encode()
        clients = [socket.create_connection(self._at) for _ in range(CLIENTS)]
        waits, failed = [], 0
        with selectors.DefaultSelector() as open_ones:
            asked = {}
            for client in clients:
                client.setblocking(False)
                open_ones.register(client, selectors.EVENT_READ)
                asked[client] = time.monotonic()
                client.send(question)
            begun = set()
            while asked:
                for key, _ in open_ones.select(60):
                    data = key.fileobj.recv(1 << 20)
                    if data and key.fileobj not in begun:
                        begun.add(key.fileobj)
                        failed += not data.startswith(b"HTTP/1.1 200")
                    if not data:  # the end of the answer
                        waits.append(time.monotonic() - asked.pop(key.fileobj))
                        open_ones.unregister(key.fileobj)
        for client in clients:
            client.close()
        return waits, failed


def bench_idle(url, handler):
    """Nothing is being recorded."""
    rows = []
    for path in ("/health", "/api/trials", "/api/reach", "/api/verdict"):
        began = time.monotonic()
        body = urllib.request.urlopen(url + path, timeout=60).read()
        first_ms = 1000 * (time.monotonic() - began)
        found = wrk(url + path, 5)
        rows.append([path, len(body), "%.0f" % first_ms, "%.0f" % found["rate"],
                     "%.1f" % found["p50"], "%.1f" % found["p99"], found["failed"]])
    if handler:
        found = wrk(handler.url, 5)
        rows.append([HANDLER, 20000, "-", "%.0f" % found["rate"], "%.1f" % found["p50"],
                     "%.1f" % found["p99"], found["failed"]])
    table("Answers to %d clients at once (wrk, loopback, 5 s each, with gzip)" % CLIENTS,
          ["", "bytes", "first, ms", "a second", "50 %, ms", "99 %, ms", "failed"], rows)


def new_question(path, part, number):
    """One that nobody has asked before: the year but for its first hours."""
    if part is None:
        return path
    return "%s%s%s=%d" % (path, "&" if "?" in path else "?", part, YEAR_STARTS_S + 3600 * number)


class Waits:
    """Of a question, over rounds: a list of milliseconds and what failed."""

    def __init__(self):
        self.wrk, self.together, self.new, self.failed = [], [], [], 0

    def cells(self, handler_p99):
        together, new = sorted(self.together), sorted(self.new)
        if not self.wrk:
            return ["-"] * 5 + ["%.0f" % share_of(new, 0.99), self.failed]
        p99 = median(found["p99"] for found in self.wrk)
        return ["%.0f" % median(found["rate"] for found in self.wrk),
                "%.1f" % median(found["p50"] for found in self.wrk), "%.1f" % p99,
                "%.1f" % (p99 / handler_p99) if handler_p99 else "-",
                "%.0f" % share_of(together, 0.99) if together else "-",
                "%.0f" % share_of(new, 0.99) if new else "-",
                self.failed + sum(found["failed"] for found in self.wrk)]


def ask_all(url, handler, waits, number, seconds):
    """One round of all questions. @param number  of the round"""
    crowd = Crowd(url)

    def together(crowd, path, of, to):
        answered, failed = crowd.ask(path)
        to += [1000 * wait for wait in answered]
        of.failed += failed

    for n, (path, part) in enumerate(QUESTIONS.items()):
        if handler and n % 4 == 0:
            of = waits[HANDLER]
            of.wrk.append(wrk(handler.url, seconds))
            together(Crowd(handler.url), "/", of, of.together)
        of = waits[path]
        of.wrk.append(wrk(url + path, seconds))
        time.sleep(0.5)  # those connections are closed: there is room for 64
        for _ in range(seconds):
            together(crowd, path, of, of.together)
            time.sleep(1)
        if part:
            together(crowd, new_question(path, part, number), of, of.new)
        if path.startswith("/api/cut"):
            of = waits[UNJUDGED]
            together(crowd, new_question(path, part, number + 100), of, of.new)


def reports_of(store):
    return json.loads(cost_of([ROUNDEL, "status", store, "--json"]).out)["reports"]


def recorded(before, after, sent):
    """[what was sent, what became of it]: rows of a table; the sum is theirs to hold."""
    gained = {kind: after[kind] - before[kind] for kind in ("received", "stored", "repeats")}
    rejected = {reason: count - before["rejected"].get(reason, 0)
                for reason, count in after["rejected"].items()}
    rejected = {reason: count for reason, count in rejected.items() if count}
    lost = sent - gained["stored"] - gained["repeats"] - sum(rejected.values())
    return [["reports sent", sent], ["of them received", gained["received"]],
            ["stored", gained["stored"]], ["repeats", gained["repeats"]],
            ["rejected, by reason", ", ".join("%s %d" % pair for pair in rejected.items()) or 0],
            ["lost", lost]]


def bench_recording(folder, year, cells, handler, rounds, seconds):
    """The same while four feeds are recorded into a year's database."""
    store = os.path.join(folder, "recording.db")
    for end in ("", "-wal", "-shm", "-recorder"):
        if os.path.exists(store + end):
            os.remove(store + end)
    shutil.copyfile(year, store)
    before = reports_of(store)
    last_s = int(cost_of(["sqlite3", "-readonly", store,
                          "SELECT max(hour_s) + 7200 FROM summary"]).out)
    senders = traffic.Senders(4, 3000, last_s)
    toml = config(folder, "recording.toml",
                  [("roof" + (" %d" % (i + 1) if i else ""), 'connect = "127.0.0.1:%d"' % port,
                    "ndjson") for i, port in enumerate(senders.ports)], store,
                  ("antenna", "receiver", "mount"))
    daemon = Daemon(toml, folder)
    waits = {name: Waits() for name in (*QUESTIONS, UNJUDGED, HANDLER)}
    try:
        events = LiveEvents(daemon.url)
        time.sleep(45)  # connected, and what the page asks for first is worked out
        sent, cpu, began = senders.sent, daemon.cpu_s(), time.monotonic()
        for number in range(1, rounds + 1):
            ask_all(daemon.url, handler, waits, number, seconds)
        took = time.monotonic() - began
        rows = [["reports a second, from four feeds", "%.0f" % ((senders.sent - sent) / took)],
                ["CPU, of one core", "%.0f %%" % (100 * (daemon.cpu_s() - cpu) / took)],
                ["memory, MB: now, most", "%.0f, %.0f" % (daemon.memory_mb(),
                                                         daemon.memory_mb("VmHWM"))]]
        senders.stop()
        time.sleep(1)
        delays = events.delays_s(senders.log, began)
        rows.append(["from report to live event, ms: 50 %%, 99 %%, most (of %d)" % len(delays),
                     ", ".join("%.0f" % (1000 * share_of(delays, share))
                               for share in (0.5, 0.99, 1))])
    finally:
        senders.stop()
        daemon.stop()
    rows += recorded(before, reports_of(store), senders.sent)
    p99 = median(found["p99"] for found in waits[HANDLER].wrk) if handler else None
    table("Answers to %d clients at once while recording into a year (%d cells); medians of %d "
          "rounds of %d s; sender, clients and roundeld share %d cores"
          % (CLIENTS, cells, rounds, seconds, os.cpu_count()),
          ["", "a second", "50 %, ms", "99 %, ms", "times the handler's 99 %",
           "all ask once a second: 99 %, ms", "all ask what is new: 99 %, ms", "failed"],
          [[path, *of.cells(p99)] for path, of in waits.items() if of.wrk or of.new])
    table("The recording beside them, %.0f s" % took, ["", ""], rows)
    os.remove(store)
