-- Which readings of a large run a picture needs: made once the run has ended, from its readings
-- alone, so that it can be made again at any time. Of a run that is not here all are needed.

CREATE TABLE overviews (
    run      INTEGER PRIMARY KEY REFERENCES runs (id),
    readings INTEGER NOT NULL -- how many there are
) STRICT;

CREATE TABLE overview_readings (
    run      INTEGER NOT NULL REFERENCES overviews (run),
    sequence INTEGER NOT NULL,
    PRIMARY KEY (run, sequence)
) STRICT, WITHOUT ROWID;
