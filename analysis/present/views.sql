-- Views over a Roundel database, for SQLite 3.37 or later, in plain units. The database is attached
-- read-only and nothing is written to it: the views are temporary and end with the session.
--
--     sqlite3 -cmd "ATTACH 'file:roundel.db?mode=ro' AS roundel" -init views.sql
--
-- Other programs attach the file under the same name `roundel` and run what follows; but for
-- TEMP it is ordinary SQL with integer and real arithmetic.
--
-- All times are UTC on the feed's own clock. A cell is one aircraft in 10 s of one trial. The unit of
-- independence is the flight: count flights, not cells, before believing a difference.

-- One row a trial: what was mounted when.
-- trial, feed, antenna, receiver, mount, rotation_deg (clockwise), start_s, stop_s (empty: it runs),
-- note.
CREATE TEMP VIEW trial_names AS
SELECT t.id AS trial, f.name AS feed, a.name AS antenna, r.name AS receiver, m.name AS mount,
       t.rotation_deg AS rotation_deg, t.start_s AS start_s, t.stop_s AS stop_s, t.note AS note
  FROM roundel.trial AS t
  JOIN roundel.feed AS f ON f.id = t.feed
  JOIN roundel.antenna AS a ON a.id = t.antenna
  JOIN roundel.receiver AS r ON r.id = t.receiver
  JOIN roundel.mount AS m ON m.id = t.mount;

-- One row a flight: flight, trial, address (a number), start_s, stop_s (empty: it goes on).
CREATE TEMP VIEW flight_times AS
SELECT id AS flight, trial, address, first_window * 10 AS start_s,
       (last_window + 1) * 10 AS stop_s
  FROM roundel.flight;

-- One row a cell within its trial's time: time_s (its start), trial, flight, heard of expected,
-- latitude_deg, longitude_deg (WGS 84), altitude_ft (pressure altitude), signal_dbfs (empty: none),
-- uncertainty_km (0: measured, or interpolated over at most 5 min; else the position is inferred).
CREATE TEMP VIEW cell_values AS
SELECT c.window * 10 AS time_s, fl.trial AS trial, c.flight AS flight, c.heard AS heard,
       c.expected AS expected, c.latitude_e4 / 1e4 AS latitude_deg,
       c.longitude_e4 / 1e4 AS longitude_deg, c.altitude_25ft * 25 AS altitude_ft,
       c.signal_half_db / 2.0 AS signal_dbfs, c.uncertainty_hm / 10.0 AS uncertainty_km
  FROM (SELECT window, flight, heard, expected, latitude_e4, longitude_e4, altitude_25ft,
               signal_half_db, uncertainty_hm FROM roundel.cell
        UNION ALL
        SELECT window, flight, heard, expected, latitude_e4, longitude_e4, altitude_25ft,
               signal_half_db, uncertainty_hm FROM roundel.recent_cell) AS c
  JOIN roundel.flight AS fl ON fl.id = c.flight
  JOIN roundel.trial AS t ON t.id = fl.trial
 WHERE c.window * 10 >= t.start_s AND (t.stop_s IS NULL OR c.window * 10 < t.stop_s);

-- One row a cell with range_km and bearing_deg (clockwise from true north) from the antenna, on a
-- sphere of radius 6371.0088 km: right to 0.6 %. `roundel export --cells` has them on the ellipsoid.
CREATE TEMP VIEW cell_places AS
SELECT c.*,
       2 * 6371.0088 * asin(min(1.0, sqrt(
         pow(sin(radians(c.latitude_deg - s.latitude_deg) / 2), 2) +
         cos(radians(s.latitude_deg)) * cos(radians(c.latitude_deg)) *
         pow(sin(radians(c.longitude_deg - s.longitude_deg) / 2), 2)))) AS range_km,
       mod(degrees(atan2(
         sin(radians(c.longitude_deg - s.longitude_deg)) * cos(radians(c.latitude_deg)),
         cos(radians(s.latitude_deg)) * sin(radians(c.latitude_deg)) -
         sin(radians(s.latitude_deg)) * cos(radians(c.latitude_deg)) *
         cos(radians(c.longitude_deg - s.longitude_deg)))) + 360, 360) AS bearing_deg
  FROM cell_values AS c, roundel.site AS s;

-- One row an hour and trial: hour_s (its start), trial, cells, flights, heard of expected. Cells at
-- inferred positions are left out, as in all rates.
CREATE TEMP VIEW hours AS
SELECT time_s / 3600 * 3600 AS hour_s, trial, count(*) AS cells,
       count(DISTINCT flight) AS flights, sum(heard) AS heard, sum(expected) AS expected
  FROM cell_values
 WHERE uncertainty_km = 0
 GROUP BY 1, 2;

-- One row an hour, feed and kind: what became of the reports. received = stored + repeat + all
-- others; the others are reasons of rejection.
CREATE TEMP VIEW reports AS
SELECT t.hour_s AS hour_s, f.name AS feed, t.kind AS kind, t.count AS count
  FROM roundel.tally AS t
  JOIN roundel.feed AS f ON f.id = t.feed;

-- One row an interval in which a feed was being recorded: feed, from_s, to_s. Silence outside says
-- nothing.
CREATE TEMP VIEW recorded AS
SELECT f.name AS feed, c.from_s AS from_s, c.to_s AS to_s
  FROM roundel.coverage AS c
  JOIN roundel.feed AS f ON f.id = c.feed;
