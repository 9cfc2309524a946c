-- What is stored. schema/README.md says what each column means, its unit and range.
-- A released step is never edited: a change is a new file with the next number.

CREATE TABLE site (
  id            INTEGER PRIMARY KEY CHECK (id = 1),
  name          TEXT NOT NULL,
  latitude_deg  REAL NOT NULL CHECK (latitude_deg BETWEEN -90 AND 90),
  longitude_deg REAL NOT NULL CHECK (longitude_deg BETWEEN -180 AND 180),
  ground_m      REAL NOT NULL,
  antenna_m     REAL NOT NULL,
  surface_m     REAL NOT NULL
) STRICT;

CREATE TABLE feed     (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE CHECK (name <> '')) STRICT;
CREATE TABLE antenna  (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE CHECK (name <> '')) STRICT;
CREATE TABLE receiver (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE CHECK (name <> '')) STRICT;
CREATE TABLE mount    (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE CHECK (name <> '')) STRICT;

CREATE TABLE trial (
  id           INTEGER PRIMARY KEY,
  feed         INTEGER NOT NULL REFERENCES feed (id),
  antenna      INTEGER NOT NULL REFERENCES antenna (id),
  receiver     INTEGER NOT NULL REFERENCES receiver (id),
  mount        INTEGER NOT NULL REFERENCES mount (id),
  rotation_deg REAL NOT NULL CHECK (rotation_deg >= 0 AND rotation_deg < 360),
  start_s      INTEGER NOT NULL,
  stop_s       INTEGER CHECK (stop_s > start_s),
  note         TEXT NOT NULL
) STRICT;
-- At most one trial runs on a feed.
CREATE UNIQUE INDEX trial_running ON trial (feed) WHERE stop_s IS NULL;

CREATE TABLE note (
  id     INTEGER PRIMARY KEY,
  time_s INTEGER NOT NULL,
  trial  INTEGER REFERENCES trial (id),
  text   TEXT NOT NULL CHECK (text <> '')
) STRICT;

CREATE TABLE flight (
  id           INTEGER PRIMARY KEY CHECK (id BETWEEN 1 AND 16777215),
  trial        INTEGER NOT NULL REFERENCES trial (id),
  address      INTEGER NOT NULL,
  first_window INTEGER NOT NULL,
  last_window  INTEGER CHECK (last_window >= first_window)
) STRICT;
CREATE INDEX flight_open ON flight (trial) WHERE last_window IS NULL;

-- The key is window * 2^24 + flight, so rows lie in order of time and the newest are at the end.
CREATE TABLE cell (
  id             INTEGER PRIMARY KEY CHECK (id > 0),
  window         INTEGER NOT NULL GENERATED ALWAYS AS (id >> 24) VIRTUAL,
  flight         INTEGER NOT NULL GENERATED ALWAYS AS (id & 16777215) VIRTUAL,
  heard          INTEGER NOT NULL CHECK (heard BETWEEN 0 AND 255),
  expected       INTEGER NOT NULL CHECK (expected BETWEEN 1 AND 255),
  latitude_e4    INTEGER NOT NULL CHECK (latitude_e4 BETWEEN -900000 AND 900000),
  longitude_e4   INTEGER NOT NULL CHECK (longitude_e4 BETWEEN -1800000 AND 1800000),
  altitude_25ft  INTEGER NOT NULL CHECK (altitude_25ft BETWEEN -32768 AND 32767),
  signal_half_db INTEGER CHECK (signal_half_db BETWEEN -32768 AND 32767),
  uncertainty_hm INTEGER NOT NULL CHECK (uncertainty_hm BETWEEN 0 AND 32767)
) STRICT;

-- The same for windows that may still change: from settled.before_window on.
CREATE TABLE recent_cell (
  id             INTEGER PRIMARY KEY CHECK (id > 0),
  window         INTEGER NOT NULL GENERATED ALWAYS AS (id >> 24) VIRTUAL,
  flight         INTEGER NOT NULL GENERATED ALWAYS AS (id & 16777215) VIRTUAL,
  heard          INTEGER NOT NULL CHECK (heard BETWEEN 0 AND 255),
  expected       INTEGER NOT NULL CHECK (expected BETWEEN 1 AND 255),
  latitude_e4    INTEGER NOT NULL CHECK (latitude_e4 BETWEEN -900000 AND 900000),
  longitude_e4   INTEGER NOT NULL CHECK (longitude_e4 BETWEEN -1800000 AND 1800000),
  altitude_25ft  INTEGER NOT NULL CHECK (altitude_25ft BETWEEN -32768 AND 32767),
  signal_half_db INTEGER CHECK (signal_half_db BETWEEN -32768 AND 32767),
  uncertainty_hm INTEGER NOT NULL CHECK (uncertainty_hm BETWEEN 0 AND 32767)
) STRICT;

CREATE TABLE settled (
  id            INTEGER PRIMARY KEY CHECK (id = 1),
  before_window INTEGER NOT NULL
) STRICT;
INSERT INTO settled (id, before_window) VALUES (1, 0);

CREATE TABLE coverage (
  feed   INTEGER NOT NULL REFERENCES feed (id),
  from_s INTEGER NOT NULL,
  to_s   INTEGER NOT NULL CHECK (to_s >= from_s),
  PRIMARY KEY (feed, from_s)
) WITHOUT ROWID, STRICT;

CREATE TABLE tally (
  feed   INTEGER NOT NULL REFERENCES feed (id),
  hour_s INTEGER NOT NULL,
  kind   TEXT NOT NULL CHECK (kind <> ''),
  count  INTEGER NOT NULL,
  PRIMARY KEY (feed, hour_s, kind)
) WITHOUT ROWID, STRICT;

CREATE TABLE feed_clock (
  feed        INTEGER PRIMARY KEY REFERENCES feed (id),
  feed_time_s REAL NOT NULL,
  arrival_s   REAL NOT NULL
) STRICT;

CREATE TABLE change (
  id             INTEGER PRIMARY KEY CHECK (id = 1),
  trials_version INTEGER NOT NULL
) STRICT;
INSERT INTO change (id, trials_version) VALUES (1, 0);

-- For people: the same in plain units.

CREATE VIEW trials AS
SELECT trial.id AS trial, feed.name AS feed, antenna.name AS antenna, receiver.name AS receiver,
       mount.name AS mount, trial.rotation_deg AS rotation_deg,
       strftime('%Y-%m-%dT%H:%M:%SZ', trial.start_s, 'unixepoch') AS start,
       strftime('%Y-%m-%dT%H:%M:%SZ', trial.stop_s, 'unixepoch') AS stop,
       trial.note AS note
  FROM trial
  JOIN feed ON feed.id = trial.feed
  JOIN antenna ON antenna.id = trial.antenna
  JOIN receiver ON receiver.id = trial.receiver
  JOIN mount ON mount.id = trial.mount;

CREATE VIEW cells AS
SELECT strftime('%Y-%m-%dT%H:%M:%SZ', c.window * 10, 'unixepoch') AS time,
       flight.trial AS trial, feed.name AS feed, antenna.name AS antenna,
       receiver.name AS receiver, mount.name AS mount, c.flight AS flight,
       printf('%06x', flight.address) AS address,
       c.heard AS heard, c.expected AS expected,
       c.latitude_e4 / 1e4 AS latitude_deg, c.longitude_e4 / 1e4 AS longitude_deg,
       c.altitude_25ft * 25 AS altitude_ft, c.signal_half_db / 2.0 AS signal_dbfs,
       c.uncertainty_hm / 10.0 AS uncertainty_km
  FROM (SELECT window, flight, heard, expected, latitude_e4, longitude_e4, altitude_25ft,
               signal_half_db, uncertainty_hm FROM cell
        UNION ALL
        SELECT window, flight, heard, expected, latitude_e4, longitude_e4, altitude_25ft,
               signal_half_db, uncertainty_hm FROM recent_cell) AS c
  JOIN flight ON flight.id = c.flight
  JOIN trial ON trial.id = flight.trial
  JOIN feed ON feed.id = trial.feed
  JOIN antenna ON antenna.id = trial.antenna
  JOIN receiver ON receiver.id = trial.receiver
  JOIN mount ON mount.id = trial.mount;
