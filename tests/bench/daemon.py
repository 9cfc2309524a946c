"""A roundeld to time: its configuration, its process, its live events."""
import json
import os
import re
import signal
import subprocess
import threading
import time
import urllib.request

import traffic

TOP = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
BUILD = os.path.join(TOP, "build", "release")
ROUNDEL = os.path.join(BUILD, "analysis", "program", "roundel")
ROUNDELD = os.path.join(BUILD, "daemon", "program", "roundeld")


def config(folder, name, feeds, store, mounted=None):
    """@param mounted  antenna, receiver and mount of all feeds; else an antenna for each"""
    antennas = [mounted[0]] if mounted else ["antenna %d" % n for n in range(len(feeds))]
    _, receiver, mount = mounted or (None, "rx", "gable")
    path = os.path.join(folder, name)
    with open(path, "w") as out:
        out.write('[site]\nname = "Hill house"\nlatitude = %s\nlongitude = %s\nground_m = 110\n'
                  'antenna_m = 12\nsurface_m = 100\n[store]\npath = "%s"\n'
                  % (traffic.LATITUDE, traffic.LONGITUDE, store))
        out.write('[web]\nlisten = "127.0.0.1:0"\n[[receiver]]\nname = "%s"\n[[mount]]\n'
                  'name = "%s"\n' % (receiver, mount))
        out.write('[layout.csv]\nkind = "columns"\ntime = "time"\naddress = "address"\n'
                  'latitude = "latitude"\nlongitude = "longitude"\naltitude_ft = "altitude_ft"\n'
                  'signal_dbfs = "signal_dbfs"\n')
        for antenna in antennas:
            out.write('[[antenna]]\nname = "%s"\n' % antenna)
        for n, (feed, where, layout) in enumerate(feeds):
            out.write('[[feed]]\nname = "%s"\n%s\nlayout = "%s"\nantenna = "%s"\n'
                      'receiver = "%s"\nmount = "%s"\n'
                      % (feed, where, layout, antennas[n % len(antennas)], receiver, mount))
    return path


class Daemon:
    def __init__(self, toml, folder):
        self.log = os.path.join(folder, "daemon.log")
        with open(self.log, "w") as out:
            self.began = time.monotonic()
            self.child = subprocess.Popen([ROUNDELD, "run", "--config", toml], stderr=out)
        until = self.began + 30
        while time.monotonic() < until:
            found = re.search(r"page on (http://\S+)", open(self.log).read())
            if found:
                self.url = found.group(1).rstrip("/")
                self.ready_s = time.monotonic() - self.began
                return
            time.sleep(0.002)
        self.stop()
        raise SystemExit("roundeld run: " + open(self.log).read())

    def cpu_s(self):
        fields = open("/proc/%d/stat" % self.child.pid).read().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def memory_mb(self, what="VmRSS"):
        return int(re.search(what + r":\s+(\d+)",
                             open("/proc/%d/status" % self.child.pid).read()).group(1)) / 1024

    def written_mb(self):
        return int(re.search(r"^write_bytes: (\d+)", open("/proc/%d/io" % self.child.pid).read(),
                             re.M).group(1)) / 1e6

    def stop(self):
        self.child.send_signal(signal.SIGTERM)
        try:
            self.child.wait(15)
        except subprocess.TimeoutExpired:
            self.child.kill()
            self.child.wait()


class LiveEvents(threading.Thread):
    """Reads live events and notes when each came and what had been received by then."""

    def __init__(self, url):
        super().__init__(daemon=True)
        self.seen = []  # (monotonic time, reports received by feed)
        self._stream = urllib.request.urlopen(url + "/api/live", timeout=60)
        self.start()

    def run(self):
        for line in self._stream:
            if not line.startswith(b"data: "):
                continue
            came = time.monotonic()
            live = json.loads(line[len(b"data: "):])
            self.seen.append((came, [feed["received"] for feed in live["feeds"]]))

    def delays_s(self, log, since):
        """From when reports were sent to the first event that counts them, by report."""
        delays = []
        for feed, sends in enumerate(log):
            events, before = iter(list(self.seen)), 0
            event = next(events, None)
            for sent, at in list(sends):
                while event and event[1][feed] < sent:
                    event = next(events, None)
                if not event:
                    break  # still under way
                if at >= since:
                    delays += [event[0] - at] * (sent - before)
                before = sent
        return sorted(delays)


def share_of(values, share):
    """The value below which that share of a sorted list lies."""
    return values[int(share * (len(values) - 1))]
