-- A logbook as version 4 wrote it. Never edit: it stands for the files people have.
PRAGMA application_id = 1416131183;
PRAGMA user_version = 4;
BEGIN TRANSACTION;
CREATE TABLE answers (
    id TEXT PRIMARY KEY NOT NULL,
    sheet TEXT NOT NULL REFERENCES sheet (id),
    answers TEXT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL
) STRICT;
INSERT INTO "answers" VALUES('c4350183c1ea28291c62b967918f445a','e6bd376adf18b8720c0bdbd4275b4272','{"ambient_c":4.0,"hours_since_movement":null,"operator":"M. K."}','2026-03-14T09:12:33+00:00','M. K.','','[]');
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
CREATE TABLE calibration (
    id TEXT PRIMARY KEY NOT NULL,
    board TEXT NOT NULL,
    details TEXT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL
) STRICT;
INSERT INTO "calibration" VALUES('5807b91088e8814272b60a50ddfa21b7','board-1','{"gain":1.01}','2026-03-14T09:12:33+00:00','M. K.','','[]');
INSERT INTO "calibration" VALUES('a2a1452d7694369082085224728ea848','bench-1','{"gain":1.01}','2026-03-14T09:12:33+00:00','M. K.','','[]');
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
INSERT INTO "decision" VALUES('4fe7ad151336b69953850da18bb9415d','e6bd376adf18b8720c0bdbd4275b4272','rejected','M. K.','{"statement":"right pin not seen"}','2026-03-14T09:12:33+00:00','M. K.','','[]');
CREATE TABLE entry (
    number INTEGER PRIMARY KEY NOT NULL,
    kind TEXT NOT NULL,
    row TEXT NOT NULL,
    rig TEXT NOT NULL,
    what TEXT NOT NULL,
    digest TEXT NOT NULL
) STRICT;
INSERT INTO "entry" VALUES(1,'rig_revision','8462fe78af0df0840f4ace31a55563f4','quarry-loader','a version of its rig file','7b880cc3bcb772ebffc3e11c6913a842');
INSERT INTO "entry" VALUES(2,'sheet','e6bd376adf18b8720c0bdbd4275b4272','quarry-loader','sheet 1','bd64a3cf275be8262d63f8e25797a1d1');
INSERT INTO "entry" VALUES(3,'answers','c4350183c1ea28291c62b967918f445a','quarry-loader','answers on sheet 1','4575152400c29c01a7bf1bb5fd35dca3');
INSERT INTO "entry" VALUES(4,'trial','5538556bb086153fa9af08762d7749a1','quarry-loader','a throw','0e0f1f01e14ceaa232058c6d1a028e64');
INSERT INTO "entry" VALUES(5,'trial','f4903f388a20982a73f4bfd51134e049','quarry-loader','a throw','2337b36cacf95e160f519d0081c1042f');
INSERT INTO "entry" VALUES(6,'placement','737cd240e7d62eef9db3235c7819b0af','quarry-loader','throw 1 of sheet 1','63489f9486915cbc7e7d28727fc9a51c');
INSERT INTO "entry" VALUES(7,'placement','7a0e8f600d885ab270f0f290519eeb01','quarry-loader','throw 2 of sheet 1','0312c28e8f2e56998b5418fef18ea33d');
INSERT INTO "entry" VALUES(8,'placement','eb74ff2f3231983c7e103f856798ae10','quarry-loader','throw 2 of sheet 1','fea22a328902caf32f4b99de16be6750');
INSERT INTO "entry" VALUES(9,'sighting','aa89a2a10a1140d44646b3b37190de24','quarry-loader','a sighting at throw 1 of sheet 1','11bf213798b514fc0f3aa809cb5e55f3');
INSERT INTO "entry" VALUES(10,'service','d21412615b3faf20c9951fff481c08d2','quarry-loader','a service entry: repaired','a2df7a700a545332bf9f4aead7aae8ea');
INSERT INTO "entry" VALUES(11,'service','8fb6c83cfd0461b6d899c1a90974cc6d','quarry-loader','a service entry: greased','5231793463cd044deb666d349af13901');
INSERT INTO "entry" VALUES(12,'calibration','5807b91088e8814272b60a50ddfa21b7','board-1','a calibration','6345cf62d1d0478a82c147a71109771f');
INSERT INTO "entry" VALUES(13,'calibration','a2a1452d7694369082085224728ea848','bench-1','a calibration','55efc0cc4e3028335c1913493c865ed3');
INSERT INTO "entry" VALUES(14,'judgement','b6cb0d90f463fc2896184f1bd93870f2','quarry-loader','a judgement of throw 1 of sheet 1','f1961fc117e3b697d7cfbf47e91f8ea8');
INSERT INTO "entry" VALUES(15,'judgement','07fbabc22d9e84a56fba07889d96beca','quarry-loader','a judgement of throw 2 of sheet 1','ae040d90a2385a74c6ac1651435cc4e8');
INSERT INTO "entry" VALUES(16,'judgement','f8cb1c477a103c0db37bc1fee583956c','quarry-loader','a judgement of throw 1 of sheet 1','cbfc072b4ebaad42fcb9e97ff5b1e665');
INSERT INTO "entry" VALUES(17,'judgement','5df992ba8a727d64a0754a1fc1ce558a','quarry-loader','a judgement of throw 2 of sheet 1','40e7c8fec90404cf837e19d6ed994096');
INSERT INTO "entry" VALUES(18,'decision','4fe7ad151336b69953850da18bb9415d','quarry-loader','a decision on sheet 1','ad5ca99365a4de8c967f8911a6a1b053');
INSERT INTO "entry" VALUES(19,'latch_order','1b2dff8248970121946d6048fa959731','quarry-loader','an order: pin not seen','2e8bbc63844ada78c2361f5f1160e6d0');
INSERT INTO "entry" VALUES(20,'latch_order','27f6b349d6e723db312a97403182f957','quarry-loader','an order: person: watch','6b3673ab556da21d41e644613a35b90e');
INSERT INTO "entry" VALUES(21,'seal','85caeb135756b86bcafd005aa541e417','quarry-loader','the seal of sheet 1','7bac71433450502d3938888b9aa0d673');
CREATE TABLE "judgement" (
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
INSERT INTO "judgement" VALUES('b6cb0d90f463fc2896184f1bd93870f2','5538556bb086153fa9af08762d7749a1','pass','{"ambient_c":null,"because":"","checks":[{"decision":"pass","limit":2.88,"limit_from":"80 % of rated (practice)","measured":[2.1,0.05],"name":"run_current_a","settle":"","side":"max","unit":"A"}],"diagnoses":[{"action":"detach and repeat","cause":"local bind","rivals":["cold"],"signs":["binding-spot"],"sure":"possible"}],"direction":"lock","end":"cut-off","figures":{"run_current_a":[2.1,0.05],"travel_time_s":[14.3,0.01]},"file":"a.csv","inrush_end_s":null,"method_version":"1","notes":[],"profile_place_u":0.004,"provisional":false,"signs":[{"at_fraction":0.31,"at_fraction_u":0.02,"because":"heavier at one place","from_s":4.2,"level":"watch","limit":0.2,"sign":"binding-spot","unit":"A","value":0.4}],"started":null,"unusable_because":"","usable":true,"verdict":"pass"}',X'78DABD8DBB0AC3300C4543C77E86660F4E46FF4A29C5B5156A706CE3474308F9F7A8A6742985D0C19A74AFD0392B28AF5181E8192439058B89764E49795B2647E9B28293138280314A958D77C060960B15DA3C8D468AC14AF5FA1C188C26A60C82132F63A8601F35C67A9C8DCE8FDADD97FC566DEC2350254674F9268F1806FE97A31CA3F7DF6CFE837DDDCEDDA96B304D242D6607CDE46445','1','0.1.0','8462fe78af0df0840f4ace31a55563f4',NULL,'2026-03-14T09:12:33+00:00','M. K.','','[]',NULL);
INSERT INTO "judgement" VALUES('07fbabc22d9e84a56fba07889d96beca','f4903f388a20982a73f4bfd51134e049','pass','{"ambient_c":null,"because":"","checks":[{"decision":"pass","limit":2.88,"limit_from":"80 % of rated (practice)","measured":[2.1,0.05],"name":"run_current_a","settle":"","side":"max","unit":"A"}],"diagnoses":[{"action":"detach and repeat","cause":"local bind","rivals":["cold"],"signs":["binding-spot"],"sure":"possible"}],"direction":"unlock","end":"cut-off","figures":{"run_current_a":[2.1,0.05],"travel_time_s":[14.3,0.01]},"file":"a.csv","inrush_end_s":null,"method_version":"1","notes":[],"profile_place_u":0.004,"provisional":false,"signs":[{"at_fraction":0.31,"at_fraction_u":0.02,"because":"heavier at one place","from_s":4.2,"level":"watch","limit":0.2,"sign":"binding-spot","unit":"A","value":0.4}],"started":null,"unusable_because":"","usable":true,"verdict":"pass"}',X'78DABD8DBB0AC3300C4543C77E86660F4E46FF4A29C5B5156A706CE3474308F9F7A8A6742985D0C19A74AFD0392B28AF5181E8192439058B89764E49795B2647E9B28293138280314A958D77C060960B15DA3C8D468AC14AF5FA1C188C26A60C82132F63A8601F35C67A9C8DCE8FDADD97FC566DEC2350254674F9268F1806FE97A31CA3F7DF6CFE837DDDCEDDA96B304D242D6607CDE46445','1','0.1.0','8462fe78af0df0840f4ace31a55563f4',NULL,'2026-03-14T09:12:33+00:00','M. K.','','[]',NULL);
INSERT INTO "judgement" VALUES('f8cb1c477a103c0db37bc1fee583956c','5538556bb086153fa9af08762d7749a1','watch','{"ambient_c":null,"because":"","checks":[{"decision":"pass","limit":2.88,"limit_from":"80 % of rated (practice)","measured":[2.1,0.05],"name":"run_current_a","settle":"","side":"max","unit":"A"}],"diagnoses":[{"action":"detach and repeat","cause":"local bind","rivals":["cold"],"signs":["binding-spot"],"sure":"possible"}],"direction":"lock","end":"cut-off","figures":{"run_current_a":[2.1,0.05],"travel_time_s":[14.3,0.01]},"file":"a.csv","inrush_end_s":null,"method_version":"1","notes":[],"profile_place_u":0.004,"provisional":false,"signs":[{"at_fraction":0.31,"at_fraction_u":0.02,"because":"heavier at one place","from_s":4.2,"level":"watch","limit":0.2,"sign":"binding-spot","unit":"A","value":0.4}],"started":null,"unusable_because":"","usable":true,"verdict":"watch"}',X'78DABD8DBB0AC3300C4543C77E86660F4E46FF4A29C5B5156A706CE3474308F9F7A8A6742985D0C19A74AFD0392B28AF5181E8192439058B89764E49795B2647E9B28293138280314A958D77C060960B15DA3C8D468AC14AF5FA1C188C26A60C82132F63A8601F35C67A9C8DCE8FDADD97FC566DEC2350254674F9268F1806FE97A31CA3F7DF6CFE837DDDCEDDA96B304D242D6607CDE46445','1','0.1.0','8462fe78af0df0840f4ace31a55563f4',NULL,'2026-03-14T09:12:33+00:00','M. K.','looked again','["b6cb0d90f463fc2896184f1bd93870f2"]',NULL);
INSERT INTO "judgement" VALUES('5df992ba8a727d64a0754a1fc1ce558a','f4903f388a20982a73f4bfd51134e049','pass','{"ambient_c":null,"because":"","checks":[{"decision":"pass","limit":2.88,"limit_from":"80 % of rated (practice)","measured":[2.1,0.05],"name":"run_current_a","settle":"","side":"max","unit":"A"}],"diagnoses":[{"action":"detach and repeat","cause":"local bind","rivals":["cold"],"signs":["binding-spot"],"sure":"possible"}],"direction":"lock","end":"cut-off","figures":{"run_current_a":[2.1,0.05],"travel_time_s":[14.3,0.01]},"file":"a.csv","inrush_end_s":null,"method_version":"1","notes":[],"profile_place_u":0.004,"provisional":false,"signs":[{"at_fraction":0.31,"at_fraction_u":0.02,"because":"heavier at one place","from_s":4.2,"level":"watch","limit":0.2,"sign":"binding-spot","unit":"A","value":0.4}],"started":null,"unusable_because":"","usable":true,"verdict":"pass"}',X'789CEDD3DD8B4C711CC7F1F7CCEF370F679E76768BB6254EC86E4827A121EA200F4BD668D3AED08E90290F0DA169D376424CC84E1E6AD5AAD90B5A8A86A245DA297B3117D4A855ABA849D2C6C54E51B628BEF6FC132E5CFCAE5FF5FDBC7F00F16630DBC03A09763F245F42EA0B64EA3D38090FF92E0F85F31E8AF73D94463D547E7AA8CEF1526BF5C2312FF13E2FE6B017EBB3173BAA482E55A47629326714CE5D45BEA228FC501467694AEB3595C39AEA354DED99868F9AB8E1C3B47C581D3EEC1E1FC9DB3E52AF7C64BEF9709AFCE4D7F829A4FD147BFD949EF8A97CF053D5016A0B03D01E20DE1DC01C08609503D8130192D383A45607C9EC0FE25C0A927F14A4F02E48118352B341A5CDA07AD2A0D66FC08841FCAB81D910C25A11C24E85485E08917A1022F33684F32B447E6E98C2E630C563614A7D612AC361AA9FC3D4A211581621BE3B82793682752F82FD26427232426A7694CC8628CE9128F9EB510ACFA3143F462919312A568C6A478C5A4F0CEEC488BF8E617E8F61CDA8C35E5B3775C3967A457C9A62B251519DA9289B72BF798ABE16B9E92245DA72EF9C4828CC558AA0ADA8AD538C6D5494B62806B7C9DDDB15D90E778B4D5D0A6B9FA2F1A082438AF1A38ACA71C5D029D9A65B91EB71F7EA3CAFB02F8A7F45FCABE2DF10FFA6F8B7C41F10FFB6BB69FABEF80FC57F2CFE53F15F885F127F44FCB2F8AFDCDDB3A3E28F89FF5EFCAAF89FC41F17FFABF813E27F73DBC8FD14FFB7F84A6307342D61E9A24E33D920AD4CD7949BF4543F7D7334CE7C4D7A8126B9589358A231976B822BA5A7D59AB1356E6383AD9AFC564D76BB26B543B369A7C6DAA369DC2BCD1DD08CA7DD0E87329AC2094D2EABC99CD6743AE29F133F27FE65F17BDD56FFFE91FFEFDF7A7F00B81ED5C6','1','0.1.0','8462fe78af0df0840f4ace31a55563f4',NULL,'2026-03-14T09:12:33+00:00','M. K.','new calibration','["07fbabc22d9e84a56fba07889d96beca"]','a2a1452d7694369082085224728ea848');
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
INSERT INTO "latch_order" VALUES('1b2dff8248970121946d6048fa959731','quarry-loader','do not use','pin not seen','right pin','[]','','e6bd376adf18b8720c0bdbd4275b4272','5538556bb086153fa9af08762d7749a1',NULL,'{}','[]','2026-03-14T09:12:33+00:00','M. K.');
INSERT INTO "latch_order" VALUES('27f6b349d6e723db312a97403182f957','quarry-loader','watch','person: watch','it creaks','[]','',NULL,NULL,NULL,'{}','["1b2dff8248970121946d6048fa959731"]','2026-03-15T09:01:00+00:00','M. K.');
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
CREATE TABLE "placement" (
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
INSERT INTO "placement" VALUES('737cd240e7d62eef9db3235c7819b0af','5538556bb086153fa9af08762d7749a1','e6bd376adf18b8720c0bdbd4275b4272',1,0,'',4.0,'a.csv','{"note":"æ","rig":"quarry-loader"}','2026-03-14T09:12:33+00:00','M. K.','','[]');
INSERT INTO "placement" VALUES('7a0e8f600d885ab270f0f290519eeb01','f4903f388a20982a73f4bfd51134e049','e6bd376adf18b8720c0bdbd4275b4272',2,0,'',4.0,'a.csv','{"note":"æ","rig":"quarry-loader"}','2026-03-14T09:12:33+00:00','M. K.','','[]');
INSERT INTO "placement" VALUES('eb74ff2f3231983c7e103f856798ae10','f4903f388a20982a73f4bfd51134e049','e6bd376adf18b8720c0bdbd4275b4272',2,0,'',0.0,'a.csv','{"note":"æ","rig":"quarry-loader"}','2026-03-15T09:00:00+00:00','M. K.','it froze','["7a0e8f600d885ab270f0f290519eeb01"]');
CREATE TABLE rig (
    name TEXT PRIMARY KEY NOT NULL
) STRICT;
INSERT INTO "rig" VALUES('quarry-loader');
CREATE TABLE rig_revision (
    id TEXT PRIMARY KEY NOT NULL,
    rig TEXT NOT NULL REFERENCES rig (name),
    toml TEXT NOT NULL,
    at TEXT NOT NULL,
    "by" TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL
) STRICT;
INSERT INTO "rig_revision" VALUES('8462fe78af0df0840f4ace31a55563f4','quarry-loader','name = "quarry-loader"
units = "metric"
','2026-03-14T09:12:33+00:00','M. K.','','[]');
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
INSERT INTO "seal" VALUES('85caeb135756b86bcafd005aa541e417','quarry-loader','e6bd376adf18b8720c0bdbd4275b4272','4fe7ad151336b69953850da18bb9415d','78270611552d52f097dce9a93f3b963a65e20b3cf6fb6f910ca8b8ca730849d7','["answers:c4350183c1ea28291c62b967918f445a","decision:4fe7ad151336b69953850da18bb9415d","judgement:07fbabc22d9e84a56fba07889d96beca","judgement:b6cb0d90f463fc2896184f1bd93870f2","latch_order:1b2dff8248970121946d6048fa959731","placement:737cd240e7d62eef9db3235c7819b0af","placement:7a0e8f600d885ab270f0f290519eeb01","rig_revision:8462fe78af0df0840f4ace31a55563f4","sheet:e6bd376adf18b8720c0bdbd4275b4272","sighting:aa89a2a10a1140d44646b3b37190de24","trial:5538556bb086153fa9af08762d7749a1","trial:f4903f388a20982a73f4bfd51134e049"]','[]','2026-03-14T09:12:33+00:00');
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
INSERT INTO "service" VALUES('d21412615b3faf20c9951fff481c08d2','quarry-loader','repaired',NULL,'2026-03-14T09:12:33+00:00','2026-03-14T09:12:33+00:00',NULL,'{"parts":"pin"}','2026-03-14T09:12:33+00:00','M. K.','','[]');
INSERT INTO "service" VALUES('8fb6c83cfd0461b6d899c1a90974cc6d','quarry-loader','greased',NULL,NULL,'2026-03-15T09:00:00+00:00',NULL,'{"cost":12.5}','2026-03-15T09:00:00+00:00','M. K.','','[]');
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
INSERT INTO "sheet" VALUES('e6bd376adf18b8720c0bdbd4275b4272','quarry-loader','commissioning',1,'{"throws_each_way":1}','d8a4eaa0b7827cfa','2026-03-14T09:12:33+00:00','M. K.');
CREATE TABLE "sighting" (
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
INSERT INTO "sighting" VALUES('aa89a2a10a1140d44646b3b37190de24','5538556bb086153fa9af08762d7749a1','yes','no','by eye','not looked','not looked','2026-03-14T09:12:33+00:00','M. K.','','[]');
CREATE TABLE tally (
    kind TEXT PRIMARY KEY NOT NULL,
    rows INTEGER NOT NULL
) STRICT;
INSERT INTO "tally" VALUES('rig_revision',1);
INSERT INTO "tally" VALUES('sheet',1);
INSERT INTO "tally" VALUES('answers',1);
INSERT INTO "tally" VALUES('trial',2);
INSERT INTO "tally" VALUES('placement',3);
INSERT INTO "tally" VALUES('sighting',1);
INSERT INTO "tally" VALUES('sighting that said no',1);
INSERT INTO "tally" VALUES('service',2);
INSERT INTO "tally" VALUES('calibration',2);
INSERT INTO "tally" VALUES('judgement',4);
INSERT INTO "tally" VALUES('decision',1);
INSERT INTO "tally" VALUES('latch_order',2);
INSERT INTO "tally" VALUES('seal',1);
CREATE TABLE trace (
    digest TEXT PRIMARY KEY NOT NULL,
    samples INTEGER NOT NULL,
    data BLOB NOT NULL
) STRICT;
INSERT INTO "trace" VALUES('427a3737a032cc9f70e946e387833120d31a1929f751746166de058ce3383b41',24,X'78DAAB564ACE4F494D56B232D4512A4ECC2DC8492D56B23232D1010AE794E6E60139D1D54A7989B9A94A564A2599B9A9F1C54A3A4AE58995406E4A6659664A2A905B9093980CD266ACA3949659545CA264650034AC24B540C9CA544729BF2825B5086826505B664A4906D8A6A4CA12883DB53A70D3934B8B8A52F34AE213715B6002B7C0C8D0D0C004668921DC1203B82546704B4C2C902C29CBCF29494C4F8D2F23C6178646A6A69698961862F7496C2D170313037620C37937C046B0874B7E6F45A7E1C719DBEB97669E2EB5E86160646066846A626264646060646204632923562106AB44312F4D0665450B467501214929160641009C5A7355');
INSERT INTO "trace" VALUES('23e88ec68b1386bc2fb6e7583f46c1e39b2447273d0a3b3221c4e435ac9878ee',24,X'78DAAB564ACE4F494D56B232D4512A4ECC2DC8492D56B23232D1010AE794E6E60139D1D54A7989B9A94A564A2599B9A9F1C54A3A4AE58995406E4A6659664A2A905B9093980CD266ACA3949659545CA264650034AC24B540C9CA544729BF2825B5086826505B664A4906D8A6A4CA12883DB53A70D3934B8B8A52F34AE213715B6002B7C0C8D0C0D41C668921DC1203B82546704B4C2C902C29CBCF29494C4F8D2F23C6178646A616A698961862F7496C2D1703130376B03A53F3988D699CD9DE1BDAE6BEF3D65EBBABDAD9C618D2C2C0C8C8C6CCC4C808A41919417A1919981841EACDD4F219D93C446538F9997815ACC544F4BC3905F4540D00C4E8741B');
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
INSERT INTO "trial" VALUES('5538556bb086153fa9af08762d7749a1','quarry-loader','lock','trace','2026-03-14T09:12:33+00:00','427a3737a032cc9f70e946e387833120d31a1929f751746166de058ce3383b41',NULL,'');
INSERT INTO "trial" VALUES('f4903f388a20982a73f4bfd51134e049','quarry-loader','unlock','trace','2026-03-14T09:13:33+00:00','23e88ec68b1386bc2fb6e7583f46c1e39b2447273d0a3b3221c4e435ac9878ee',NULL,'');
CREATE INDEX rig_revision_by_rig ON rig_revision (rig);
CREATE INDEX sheet_by_rig ON sheet (rig);
CREATE INDEX answers_by_sheet ON answers (sheet);
CREATE INDEX service_by_rig ON service (rig);
CREATE INDEX baseline_by_rig ON baseline (rig);
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
CREATE TRIGGER service_no_update BEFORE UPDATE ON service BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER service_no_delete BEFORE DELETE ON service BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER baseline_no_update BEFORE UPDATE ON baseline BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER baseline_no_delete BEFORE DELETE ON baseline BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER decision_no_update BEFORE UPDATE ON decision BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER decision_no_delete BEFORE DELETE ON decision BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER latch_order_no_update BEFORE UPDATE ON latch_order BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER latch_order_no_delete BEFORE DELETE ON latch_order BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER seal_no_update BEFORE UPDATE ON seal BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER seal_no_delete BEFORE DELETE ON seal BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER calibration_no_update BEFORE UPDATE ON calibration BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER calibration_no_delete BEFORE DELETE ON calibration BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
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
CREATE TRIGGER meter_no_update BEFORE UPDATE ON meter BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER meter_no_delete BEFORE DELETE ON meter BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER tally_no_less BEFORE UPDATE ON tally WHEN new.rows <= old.rows OR new.kind <> old.kind BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE TRIGGER tally_no_delete BEFORE DELETE ON tally BEGIN SELECT RAISE (ABORT, 'the logbook is append only'); END;
CREATE INDEX judgement_by_method_1 ON judgement (trial, method_version) WHERE method_version = '1';
CREATE INDEX judgement_again ON judgement (trial, method_version, replaces) WHERE replaces <> '[]';
COMMIT;
