-- What each feed is like, found from its lines: what a conclusion from it has to warn of.

CREATE TABLE feed_traits (
  feed              INTEGER PRIMARY KEY REFERENCES feed (id),
  time_s            REAL NOT NULL,
  position_step_deg REAL NOT NULL CHECK (position_step_deg >= 0),
  crowded_share     REAL NOT NULL CHECK (crowded_share BETWEEN 0 AND 1)
) STRICT;
