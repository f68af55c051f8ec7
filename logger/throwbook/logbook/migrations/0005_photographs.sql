-- Version 5. Photographs of pins. A picture is kept once, under the SHA-256 of its own bytes; a photograph says which pin of
-- which throw it shows. No row changes, nor its id.

CREATE TABLE picture (
    digest TEXT PRIMARY KEY NOT NULL,
    data BLOB NOT NULL
) STRICT;

CREATE TABLE photograph (
    id TEXT NOT NULL,
    trial TEXT NOT NULL REFERENCES trial (id),
    pin TEXT NOT NULL CHECK (pin IN ('left', 'right')),
    picture TEXT NOT NULL REFERENCES picture (digest),
    original TEXT NOT NULL,
    file TEXT NOT NULL,
    taken TEXT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL,
    PRIMARY KEY (trial, id)
) STRICT;

CREATE TRIGGER picture_no_update BEFORE UPDATE ON picture BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER picture_no_delete BEFORE DELETE ON picture BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER photograph_no_update BEFORE UPDATE ON photograph BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER photograph_no_delete BEFORE DELETE ON photograph BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
