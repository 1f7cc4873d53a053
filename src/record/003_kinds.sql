-- What a run was for, what the steps of a staircase read, what re-forming came to. Names as before,
-- and _c coulomb.

ALTER TABLE runs ADD COLUMN kind    TEXT;
ALTER TABLE runs ADD COLUMN follows INTEGER REFERENCES runs (id); -- re-formed the part just before
-- Until here every run was a soak.
UPDATE runs SET kind = 'soak';

CREATE TABLE stairs (
    run           INTEGER NOT NULL REFERENCES runs (id),
    step          INTEGER NOT NULL,
    voltage_v     REAL    NOT NULL,
    verdict       TEXT    NOT NULL,
    current_a     REAL,
    raw_a         REAL,
    uncertainty_a REAL,
    current_at_s  REAL,
    PRIMARY KEY (run, step),
    CHECK ((current_a IS NULL) = (verdict = 'untested'))
) STRICT, WITHOUT ROWID;

-- The highest voltage at which the part was within, as a range; an end that is not known is NULL.
CREATE TABLE staircases (
    run        INTEGER PRIMARY KEY REFERENCES runs (id),
    within_v   REAL,
    beyond_v   REAL,
    estimate_v REAL
) STRICT;

CREATE TABLE formings (
    run      INTEGER PRIMARY KEY REFERENCES runs (id),
    before_a REAL    NOT NULL,
    after_a  REAL    NOT NULL,
    charge_c REAL    NOT NULL,
    good     INTEGER NOT NULL CHECK (good IN (0, 1))
) STRICT;
