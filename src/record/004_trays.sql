-- Trays of parts, and which run is whose. Names as before.

CREATE TABLE trays (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    station    TEXT    NOT NULL,
    name       TEXT    NOT NULL, -- of the file
    text       TEXT    NOT NULL, -- of the file, whole
    started_ms INTEGER NOT NULL,
    ended_ms   INTEGER           -- NULL while parts are left to test
) STRICT;

ALTER TABLE runs ADD COLUMN tray     INTEGER REFERENCES trays (id);
ALTER TABLE runs ADD COLUMN position TEXT; -- on the tray

CREATE INDEX runs_of_tray ON runs (tray) WHERE tray IS NOT NULL;
