"""Reports to load: aircraft on smooth tracks within sight of the site, in order of time."""
import itertools
import math
import os
import socket
import threading
import time

LATITUDE, LONGITUDE = 52.1, 19.4
AIRCRAFT = 300


class Aircraft:
    """Flies round a circle near the site, at jet speed and height."""

    def __init__(self, n):
        self.address = "%06x" % (0x400000 + 37 * n)
        self.radius_km = 40 + (n * 53) % 160
        off_km, off_at = (n * 29) % 110, n * 2.4
        self.north_km, self.east_km = off_km * math.cos(off_at), off_km * math.sin(off_at)
        self.start = n * 0.7
        self.rate = (0.2 + 0.001 * (n % 50)) / self.radius_km * (1 if n % 2 else -1)
        self.altitude_ft = 25000 + 25 * (n * 17 % 560)

    def at(self, time_s):
        angle = self.start + self.rate * time_s
        north_km = self.north_km + self.radius_km * math.cos(angle)
        east_km = self.east_km + self.radius_km * math.sin(angle)
        latitude = LATITUDE + north_km / 111.25
        longitude = LONGITUDE + east_km / (111.32 * math.cos(math.radians(latitude)))
        level = -20 * math.log10(1 + math.hypot(north_km, east_km) / 30) - 8
        return latitude, longitude, level


def reports(n_lines, start_s=1764000000.0, per_second=1.0):
    """(time, address, latitude, longitude, altitude, level), each aircraft once a second."""
    fleet = [Aircraft(n) for n in range(AIRCRAFT)]
    for i in range(n_lines):
        step, n = divmod(i, AIRCRAFT)
        t = (step + n / AIRCRAFT) / per_second
        aircraft = fleet[n]
        latitude, longitude, level = aircraft.at(t)
        yield start_s + t, aircraft.address, latitude, longitude, aircraft.altitude_ft, level


def write_files(n_lines, ndjson, csv):
    """The same reports in both layouts; the .import peer reads the second, too."""
    with open(ndjson, "w") as n, open(csv, "w") as c:
        c.write("time,address,latitude,longitude,altitude_ft,signal_dbfs\n")
        for t, address, latitude, longitude, altitude_ft, level in reports(n_lines):
            n.write('{"time":%.3f,"address":"%s","latitude":%.5f,"longitude":%.5f,'
                    '"altitude_ft":%d,"signal_dbfs":%.1f}\n'
                    % (t, address, latitude, longitude, altitude_ft, level))
            c.write("%.3f,%s,%.5f,%.5f,%d,%.1f\n"
                    % (t, address, latitude, longitude, altitude_ft, level))


def write_growing(sizes, path_of):
    """Files of so many lines as NDJSON, the smaller ones the beginnings of the largest."""
    largest = path_of(max(sizes))
    if not os.path.exists(largest):
        write_files(max(sizes), largest, os.devnull)
    for n in sizes:
        if not os.path.exists(path_of(n)):
            with open(largest, "rb") as lines, open(path_of(n), "wb") as out:
                out.writelines(itertools.islice(lines, n))


class Senders:
    """Feeds over TCP, each a server that sends its share of the reports as they are due."""

    def __init__(self, n_feeds, per_second, start_s=None):
        """@param start_s  what the feeds' clocks say now, else the computer's"""
        self.ports, self.sent, self._ahead_s = [], 0, start_s - time.time() if start_s else 0
        self.log = [[] for _ in range(n_feeds)]  # by feed: (reports sent so far, monotonic time)
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._threads = []
        for log in self.log:
            server = socket.create_server(("127.0.0.1", 0))
            self.ports.append(server.getsockname()[1])
            thread = threading.Thread(target=self._serve, args=(server, per_second / n_feeds, log))
            thread.daemon = True
            thread.start()
            self._threads.append(thread)

    def _serve(self, server, per_second, log):
        with server, server.accept()[0] as connection:
            start, sent = time.time(), 0
            source = reports(1 << 40, start + self._ahead_s, per_second / AIRCRAFT)
            while not self._stop.is_set():
                due = int((time.time() - start) * per_second)
                lines = []
                while sent < due:
                    t, address, latitude, longitude, altitude_ft, level = next(source)
                    lines.append('{"time":%.3f,"address":"%s","latitude":%.5f,"longitude":%.5f,'
                                 '"altitude_ft":%d,"signal_dbfs":%.1f}\n'
                                 % (t, address, latitude, longitude, altitude_ft, level))
                    sent += 1
                try:
                    connection.sendall("".join(lines).encode())
                except OSError:
                    return
                log.append((sent, time.monotonic()))
                with self._lock:
                    self.sent += len(lines)
                self._stop.wait(0.05)

    def stop(self):
        self._stop.set()
        for thread in self._threads:
            thread.join(5)
