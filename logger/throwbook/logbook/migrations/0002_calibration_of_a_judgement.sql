-- Version 2. A judgement says which calibration of its board it was made with, so that a new calibration can be told
-- from a new method when a trial is judged again. Empty for every judgement made before.

ALTER TABLE judgement ADD COLUMN calibration TEXT REFERENCES calibration (id);
