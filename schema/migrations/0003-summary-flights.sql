-- What each flight showed in each hour, as long as the hour's summary is kept: with it a pattern can
-- be judged and compared when the cells are gone.

-- Beside `summary`, by the same key: sums over a year must not read it.
CREATE TABLE summary_flights (
  id     INTEGER PRIMARY KEY CHECK (id > 0),
  detail BLOB NOT NULL
) STRICT;

-- Hours that have their cells are made anew, and until then answered from those.
UPDATE summary SET is_stale = 1 WHERE cells_gone = 0;

DROP VIEW summaries;
CREATE VIEW summaries AS
SELECT strftime('%Y-%m-%dT%H:%M:%SZ', summary.hour_s, 'unixepoch') AS hour, summary.trial,
       summary.cells, summary.silent_cells, summary.heard, summary.expected, summary.cells_gone,
       length(summary.detail) AS detail_bytes, length(summary_flights.detail) AS flights_bytes
  FROM summary LEFT JOIN summary_flights ON summary_flights.id = summary.id
 WHERE summary.is_stale = 0;
