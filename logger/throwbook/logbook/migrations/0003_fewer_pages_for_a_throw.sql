-- Version 3. A throw writes fewer pages: one key finds a row of a trial by the trial and by its id, instead of an index
-- for each (an id is made from the whole row, so the same id means the same trial). Two short indexes hold the throws
-- that ask for an order, so that a status is told without reading the others. No row changes, nor its id.

CREATE TABLE new_placement (
    id TEXT NOT NULL,
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
    replaces TEXT NOT NULL,
    PRIMARY KEY (trial, id)
) STRICT;
INSERT INTO new_placement (id, trial, sheet, position, as_found, left_out, ambient_c, file, head, at, "by", reason, replaces)
    SELECT id, trial, sheet, position, as_found, left_out, ambient_c, file, head, at, "by", reason, replaces
    FROM placement ORDER BY rowid;
DROP TABLE placement;
ALTER TABLE new_placement RENAME TO placement;

CREATE TABLE new_sighting (
    id TEXT NOT NULL,
    trial TEXT NOT NULL REFERENCES trial (id),
    left_pin TEXT NOT NULL CHECK (left_pin IN ('yes', 'no', 'not looked')),
    right_pin TEXT NOT NULL CHECK (right_pin IN ('yes', 'no', 'not looked')),
    how TEXT NOT NULL,
    load_check TEXT NOT NULL CHECK (load_check IN ('yes', 'no', 'not looked')),
    retained_power_off TEXT NOT NULL CHECK (retained_power_off IN ('yes', 'no', 'not looked')),
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL,
    PRIMARY KEY (trial, id)
) STRICT;
INSERT INTO new_sighting (id, trial, left_pin, right_pin, how, load_check, retained_power_off, at, "by", reason, replaces)
    SELECT id, trial, left_pin, right_pin, how, load_check, retained_power_off, at, "by", reason, replaces
    FROM sighting ORDER BY rowid;
DROP TABLE sighting;
ALTER TABLE new_sighting RENAME TO sighting;

CREATE TABLE new_judgement (
    id TEXT NOT NULL,
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
    replaces TEXT NOT NULL,
    calibration TEXT REFERENCES calibration (id),
    PRIMARY KEY (trial, id)
) STRICT;
INSERT INTO new_judgement (id, trial, verdict, assessment, profile, method_version, software_version, rig_revision, baseline, at, "by", reason, replaces, calibration)
    SELECT id, trial, verdict, assessment, profile, method_version, software_version, rig_revision, baseline, at, "by", reason, replaces, calibration
    FROM judgement ORDER BY rowid;
DROP TABLE judgement;
ALTER TABLE new_judgement RENAME TO judgement;

CREATE INDEX placement_by_sheet ON placement (sheet);
CREATE INDEX judgement_failed ON judgement (trial, verdict) WHERE verdict = 'fail';
CREATE INDEX sighting_said_no ON sighting (trial, left_pin, right_pin, load_check, retained_power_off)
    WHERE left_pin = 'no' OR right_pin = 'no' OR load_check = 'no' OR retained_power_off = 'no';

CREATE TRIGGER placement_no_update BEFORE UPDATE ON placement BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER placement_no_delete BEFORE DELETE ON placement BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER sighting_no_update BEFORE UPDATE ON sighting BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER sighting_no_delete BEFORE DELETE ON sighting BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER judgement_no_update BEFORE UPDATE ON judgement BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER judgement_no_delete BEFORE DELETE ON judgement BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
