-- Version 4. A list of every row that this file ever took in, numbered without a gap and chained, and how many rows of each
-- kind there must be: what is taken out of the file later is missed, by kind, rig and number. No row changes, nor its id.

CREATE TABLE entry (
    number INTEGER PRIMARY KEY NOT NULL,
    kind TEXT NOT NULL,
    row TEXT NOT NULL,
    rig TEXT NOT NULL,
    what TEXT NOT NULL,
    digest TEXT NOT NULL
) STRICT;

CREATE TABLE tally (
    kind TEXT PRIMARY KEY NOT NULL,
    rows INTEGER NOT NULL
) STRICT;

-- Instruments that a person reads.
CREATE TABLE meter (
    id TEXT PRIMARY KEY NOT NULL,
    name TEXT NOT NULL,
    kind TEXT NOT NULL,
    unit TEXT NOT NULL,
    resolution REAL NOT NULL,
    share REAL NOT NULL,
    digits REAL NOT NULL,
    peak_hold INTEGER NOT NULL,
    checked TEXT NOT NULL,
    at TEXT NOT NULL,
    by TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL
) STRICT;

CREATE TRIGGER meter_no_update BEFORE UPDATE ON meter BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER meter_no_delete BEFORE DELETE ON meter BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER tally_no_less BEFORE UPDATE ON tally WHEN new.rows <= old.rows OR new.kind <> old.kind BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER tally_no_delete BEFORE DELETE ON tally BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;

-- Throws that an earlier method judged, and what was judged again since: both short, and neither grows with a new throw.
CREATE INDEX judgement_by_method_1 ON judgement (trial, method_version) WHERE method_version = '1';
CREATE INDEX judgement_again ON judgement (trial, method_version, replaces) WHERE replaces <> '[]';
