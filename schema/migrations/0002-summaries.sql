-- What each trial heard in each hour: kept for years, when the cells themselves may be gone.

-- The key is hour * 2^24 + trial, hours since 1970, so rows lie in order of time.
CREATE TABLE summary (
  id           INTEGER PRIMARY KEY CHECK (id > 0),
  hour_s       INTEGER NOT NULL GENERATED ALWAYS AS ((id >> 24) * 3600) VIRTUAL,
  trial        INTEGER NOT NULL GENERATED ALWAYS AS (id & 16777215) VIRTUAL,
  cells        INTEGER NOT NULL CHECK (cells >= 0),
  silent_cells INTEGER NOT NULL CHECK (silent_cells BETWEEN 0 AND cells),
  heard        INTEGER NOT NULL CHECK (heard >= 0),
  expected     INTEGER NOT NULL CHECK (expected >= 0),
  is_stale     INTEGER NOT NULL CHECK (is_stale IN (0, 1)),
  cells_gone   INTEGER NOT NULL CHECK (cells_gone IN (0, 1)),
  detail       BLOB NOT NULL
) STRICT;
-- Sums over a year, and looking for hours without cells, must not read the details.
CREATE INDEX summary_size
  ON summary (cells_gone, id, is_stale, cells, silent_cells, heard, expected);
CREATE INDEX summary_stale ON summary (is_stale) WHERE is_stale = 1;

CREATE TABLE summarised (
  id          INTEGER PRIMARY KEY CHECK (id = 1),
  before_hour INTEGER NOT NULL,
  method      INTEGER NOT NULL
) STRICT;
INSERT INTO summarised (id, before_hour, method) VALUES (1, 0, 0);

CREATE VIEW summaries AS
SELECT strftime('%Y-%m-%dT%H:%M:%SZ', hour_s, 'unixepoch') AS hour, trial, cells, silent_cells,
       heard, expected, cells_gone, length(detail) AS detail_bytes
  FROM summary WHERE is_stale = 0;
