-- Version 1. A row is a fact: it is added, never changed, never removed (the triggers at the end refuse it).
-- id: first 128 bits of SHA-256 over the row (logger/logbook/rows.py). Times: ISO 8601 with offset. JSON: sorted keys.
-- replaces, previous, clears, covers, trials: JSON lists of ids.

CREATE TABLE rig (
    name TEXT PRIMARY KEY NOT NULL
) STRICT;

CREATE TABLE trace (
    digest TEXT PRIMARY KEY NOT NULL,
    samples INTEGER NOT NULL,
    data BLOB NOT NULL
) STRICT;

CREATE TABLE rig_revision (
    id TEXT PRIMARY KEY NOT NULL,
    rig TEXT NOT NULL REFERENCES rig (name),
    toml TEXT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL
) STRICT;

CREATE TABLE sheet (
    id TEXT PRIMARY KEY NOT NULL,
    rig TEXT NOT NULL REFERENCES rig (name),
    kind TEXT NOT NULL CHECK (kind IN ('bench', 'commissioning', 'seasonal', 'after-service', 'spot')),
    number INTEGER NOT NULL,
    plan TEXT NOT NULL,
    nonce TEXT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL
) STRICT;

CREATE TABLE answers (
    id TEXT PRIMARY KEY NOT NULL,
    sheet TEXT NOT NULL REFERENCES sheet (id),
    answers TEXT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL
) STRICT;

CREATE TABLE trial (
    id TEXT PRIMARY KEY NOT NULL,
    rig TEXT NOT NULL REFERENCES rig (name),
    direction TEXT NOT NULL CHECK (direction IN ('lock', 'unlock')),
    source TEXT NOT NULL CHECK (source IN ('trace', 'hand')),
    started TEXT,
    trace TEXT REFERENCES trace (digest),
    hand TEXT,
    nonce TEXT NOT NULL
) STRICT;

CREATE TABLE placement (
    id TEXT PRIMARY KEY NOT NULL,
    trial TEXT NOT NULL REFERENCES trial (id),
    sheet TEXT NOT NULL REFERENCES sheet (id),
    position INTEGER NOT NULL,
    as_found INTEGER NOT NULL CHECK (as_found IN (0, 1)),
    left_out TEXT NOT NULL,
    ambient_c REAL,
    file TEXT NOT NULL,
    head TEXT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL
) STRICT;

CREATE TABLE sighting (
    id TEXT PRIMARY KEY NOT NULL,
    trial TEXT NOT NULL REFERENCES trial (id),
    left_pin TEXT NOT NULL CHECK (left_pin IN ('yes', 'no', 'not looked')),
    right_pin TEXT NOT NULL CHECK (right_pin IN ('yes', 'no', 'not looked')),
    how TEXT NOT NULL,
    load_check TEXT NOT NULL CHECK (load_check IN ('yes', 'no', 'not looked')),
    retained_power_off TEXT NOT NULL CHECK (retained_power_off IN ('yes', 'no', 'not looked')),
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL
) STRICT;

CREATE TABLE service (
    id TEXT PRIMARY KEY NOT NULL,
    rig TEXT NOT NULL REFERENCES rig (name),
    action TEXT NOT NULL,
    seen TEXT,
    found TEXT,
    fixed TEXT,
    verified TEXT,
    details TEXT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL
) STRICT;

CREATE TABLE baseline (
    id TEXT PRIMARY KEY NOT NULL,
    rig TEXT NOT NULL REFERENCES rig (name),
    direction TEXT NOT NULL,
    trials TEXT NOT NULL,
    body TEXT NOT NULL,
    service TEXT REFERENCES service (id),
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL
) STRICT;

CREATE TABLE judgement (
    id TEXT PRIMARY KEY NOT NULL,
    trial TEXT NOT NULL REFERENCES trial (id),
    verdict TEXT NOT NULL CHECK (verdict IN ('pass', 'watch', 'fail', 'undecided', 'unusable')),
    assessment TEXT NOT NULL,
    profile BLOB,
    method_version TEXT NOT NULL,
    software_version TEXT NOT NULL,
    rig_revision TEXT REFERENCES rig_revision (id),
    baseline TEXT REFERENCES baseline (id),
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL
) STRICT;

CREATE TABLE decision (
    id TEXT PRIMARY KEY NOT NULL,
    sheet TEXT NOT NULL REFERENCES sheet (id),
    outcome TEXT NOT NULL CHECK (outcome IN ('accepted', 'rejected')),
    signed TEXT NOT NULL,
    statement TEXT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL
) STRICT;

CREATE TABLE latch_order (
    id TEXT PRIMARY KEY NOT NULL,
    rig TEXT NOT NULL REFERENCES rig (name),
    level TEXT NOT NULL,
    cause TEXT NOT NULL,
    because TEXT NOT NULL,
    clears TEXT NOT NULL,
    signed TEXT NOT NULL,
    sheet TEXT REFERENCES sheet (id),
    trial TEXT REFERENCES trial (id),
    service TEXT REFERENCES service (id),
    details TEXT NOT NULL,
    previous TEXT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL
) STRICT;

CREATE TABLE seal (
    id TEXT PRIMARY KEY NOT NULL,
    rig TEXT NOT NULL REFERENCES rig (name),
    sheet TEXT NOT NULL REFERENCES sheet (id),
    decision TEXT NOT NULL REFERENCES decision (id),
    digest TEXT NOT NULL,
    covers TEXT NOT NULL,
    previous TEXT NOT NULL,
    at TEXT NOT NULL
) STRICT;

CREATE TABLE calibration (
    id TEXT PRIMARY KEY NOT NULL,
    board TEXT NOT NULL,
    details TEXT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL
) STRICT;

CREATE INDEX rig_revision_by_rig ON rig_revision (rig);
CREATE INDEX sheet_by_rig ON sheet (rig);
CREATE INDEX answers_by_sheet ON answers (sheet);
CREATE INDEX placement_by_trial ON placement (trial);
CREATE INDEX placement_by_sheet ON placement (sheet);
CREATE INDEX sighting_by_trial ON sighting (trial);
CREATE INDEX service_by_rig ON service (rig);
CREATE INDEX baseline_by_rig ON baseline (rig);
CREATE INDEX judgement_by_trial ON judgement (trial);
CREATE INDEX decision_by_sheet ON decision (sheet);
CREATE INDEX latch_order_by_rig ON latch_order (rig);
CREATE INDEX seal_by_rig ON seal (rig);
CREATE INDEX seal_by_sheet ON seal (sheet);
CREATE INDEX trial_by_rig ON trial (rig, started);
CREATE INDEX calibration_by_board ON calibration (board);

CREATE TRIGGER rig_no_update BEFORE UPDATE ON rig BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER rig_no_delete BEFORE DELETE ON rig BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER trace_no_update BEFORE UPDATE ON trace BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER trace_no_delete BEFORE DELETE ON trace BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER rig_revision_no_update BEFORE UPDATE ON rig_revision BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER rig_revision_no_delete BEFORE DELETE ON rig_revision BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER sheet_no_update BEFORE UPDATE ON sheet BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER sheet_no_delete BEFORE DELETE ON sheet BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER answers_no_update BEFORE UPDATE ON answers BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER answers_no_delete BEFORE DELETE ON answers BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER trial_no_update BEFORE UPDATE ON trial BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER trial_no_delete BEFORE DELETE ON trial BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER placement_no_update BEFORE UPDATE ON placement BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER placement_no_delete BEFORE DELETE ON placement BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER sighting_no_update BEFORE UPDATE ON sighting BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER sighting_no_delete BEFORE DELETE ON sighting BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER service_no_update BEFORE UPDATE ON service BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER service_no_delete BEFORE DELETE ON service BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER baseline_no_update BEFORE UPDATE ON baseline BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER baseline_no_delete BEFORE DELETE ON baseline BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER judgement_no_update BEFORE UPDATE ON judgement BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER judgement_no_delete BEFORE DELETE ON judgement BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER decision_no_update BEFORE UPDATE ON decision BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER decision_no_delete BEFORE DELETE ON decision BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER latch_order_no_update BEFORE UPDATE ON latch_order BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER latch_order_no_delete BEFORE DELETE ON latch_order BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER seal_no_update BEFORE UPDATE ON seal BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER seal_no_delete BEFORE DELETE ON seal BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER calibration_no_update BEFORE UPDATE ON calibration BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER calibration_no_delete BEFORE DELETE ON calibration BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
