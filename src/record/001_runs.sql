-- Units stand in the column names: _a ampere, _v volt, _f farad, _s second since switch-on,
-- _ms milliseconds since 1970 by the wall clock. Nothing is ever ordered by the wall clock.

CREATE TABLE runs (
    id            INTEGER PRIMARY KEY AUTOINCREMENT,
    station       TEXT    NOT NULL,
    simulated     INTEGER NOT NULL CHECK (simulated IN (0, 1)),
    lapse         REAL    NOT NULL,
    part          TEXT    NOT NULL,
    family        TEXT    NOT NULL,
    capacitance_f REAL    NOT NULL,
    tolerance     REAL,
    rated_v       REAL    NOT NULL,
    test_v        REAL    NOT NULL,
    limit_a       REAL,
    limit_rule    TEXT,
    limit_source  TEXT,
    limit_at_s    REAL,
    limit_celsius REAL,
    plan_json     TEXT    NOT NULL,
    software      TEXT    NOT NULL,
    started_ms    INTEGER NOT NULL,
    CHECK ((limit_a IS NULL) = (limit_rule IS NULL) AND (limit_a IS NULL) = (limit_source IS NULL))
) STRICT;
CREATE INDEX runs_by_station ON runs (station);

CREATE TABLE instruments (
    run      INTEGER NOT NULL REFERENCES runs (id),
    position INTEGER NOT NULL,
    role     TEXT    NOT NULL,
    identity TEXT    NOT NULL,
    PRIMARY KEY (run, position)
) STRICT, WITHOUT ROWID;

-- A run without a row here is open. There is no other way to be open, and no default ending.
CREATE TABLE endings (
    run             INTEGER PRIMARY KEY REFERENCES runs (id),
    state           TEXT    NOT NULL CHECK (state IN ('ended', 'interrupted')),
    verdict         TEXT    NOT NULL,
    findings        TEXT    NOT NULL, -- words with a space between them, first finding first
    current_a       REAL,
    uncertainty_a   REAL,
    current_at_s    REAL,
    at_part_v       REAL,
    measured_f      REAL,
    peak_a          REAL,
    left_as         TEXT,             -- NULL: nobody saw it, so it counts as charged
    advice          TEXT    NOT NULL, -- of an interrupted run: the note of whoever found it
    ended_ms        INTEGER NOT NULL, -- of an interrupted run: when it was found
    full_voltage_s  REAL,
    CHECK ((state = 'ended') = (left_as IS NOT NULL)),
    CHECK (state = 'ended' OR (verdict = 'untested' AND findings = 'stopped')),
    CHECK ((current_a IS NULL) = (uncertainty_a IS NULL)
       AND (current_a IS NULL) = (current_at_s IS NULL))
) STRICT;

CREATE TABLE readings (
    run       INTEGER NOT NULL REFERENCES runs (id),
    sequence  INTEGER NOT NULL,
    time_s    REAL    NOT NULL,
    wall_ms   INTEGER NOT NULL,
    current_a REAL,
    mark      TEXT CHECK (mark IN ('overload', 'negative-overload', 'not-a-number')),
    voltage_v REAL,
    range_a   REAL,
    flags     INTEGER NOT NULL,
    phase     TEXT    NOT NULL,
    PRIMARY KEY (run, sequence),
    CHECK ((current_a IS NULL) = (mark IS NOT NULL))
) STRICT, WITHOUT ROWID;

CREATE TABLE events (
    id      INTEGER PRIMARY KEY,
    run     INTEGER NOT NULL REFERENCES runs (id),
    time_s  REAL    NOT NULL,
    wall_ms INTEGER NOT NULL,
    kind    TEXT    NOT NULL,
    text    TEXT    NOT NULL
) STRICT;
CREATE INDEX events_by_run ON events (run, id);

CREATE TABLE zeroes (
    id            INTEGER PRIMARY KEY,
    station       TEXT    NOT NULL,
    taken_ms      INTEGER NOT NULL,
    current_a     REAL    NOT NULL,
    uncertainty_a REAL    NOT NULL,
    voltage_v     REAL    NOT NULL,
    celsius       REAL
) STRICT;
CREATE INDEX zeroes_by_station ON zeroes (station, id);
