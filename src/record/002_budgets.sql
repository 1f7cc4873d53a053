-- What a verdict rests on: the parts of its uncertainty, the room, the confidence that was asked
-- for; and the circuit that the part is meant for. Names as in the first schema, and _k kelvin.

ALTER TABLE runs ADD COLUMN confidence       REAL;
ALTER TABLE runs ADD COLUMN judged_at_s      REAL;    -- after full voltage
ALTER TABLE runs ADD COLUMN room_celsius     REAL;
ALTER TABLE runs ADD COLUMN room_tolerance_k REAL;
ALTER TABLE runs ADD COLUMN room_told        INTEGER CHECK (room_told IN (0, 1));
ALTER TABLE runs ADD COLUMN duty             TEXT;
-- Until here 95 % was the only confidence.
UPDATE runs SET confidence = 0.95;

ALTER TABLE endings ADD COLUMN raw_a         REAL;
ALTER TABLE endings ADD COLUMN measured_uncertainty_f REAL;
-- Until here nothing was carried to another temperature.
UPDATE endings SET raw_a = current_a;

CREATE TABLE budgets (
    run           INTEGER NOT NULL REFERENCES runs (id),
    source        TEXT    NOT NULL,
    uncertainty_a REAL    NOT NULL, -- standard uncertainty
    PRIMARY KEY (run, source)
) STRICT, WITHOUT ROWID;
