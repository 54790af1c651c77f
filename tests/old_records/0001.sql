BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE batch (
	id INTEGER NOT NULL, 
	first_id INTEGER, 
	replaces_id INTEGER, 
	name TEXT NOT NULL, 
	species TEXT NOT NULL, 
	breeds TEXT NOT NULL, 
	set_at VARCHAR(32) NOT NULL, 
	note TEXT DEFAULT '' NOT NULL, 
	recorded_at VARCHAR(32) NOT NULL, 
	CONSTRAINT pk_batch PRIMARY KEY (id), 
	CONSTRAINT fk_batch_first_id FOREIGN KEY(first_id) REFERENCES batch (id), 
	CONSTRAINT fk_batch_replaces_id FOREIGN KEY(replaces_id) REFERENCES batch (id), 
	CONSTRAINT uq_batch_replaces_id UNIQUE (replaces_id)
);
INSERT INTO "batch" VALUES(1,NULL,NULL,'Spring','chicken','[]','2026-03-01T18:00:00.000000+00:00','','2026-11-25T10:57:09.346135+00:00');
INSERT INTO "batch" VALUES(2,1,1,'Spring','chicken','["Vorwerk", "Sundheimer"]','2026-03-01T18:00:00.000000+00:00','zweite Wärme','2026-11-25T10:57:09.843032+00:00');
CREATE TABLE call (
	id INTEGER NOT NULL, 
	replaces_id INTEGER, 
	egg_id INTEGER NOT NULL, 
	status TEXT, 
	who TEXT NOT NULL, 
	at VARCHAR(32) NOT NULL, 
	proposal_id INTEGER, 
	proposal_shown BOOLEAN NOT NULL, 
	note TEXT DEFAULT '' NOT NULL, 
	recorded_at VARCHAR(32) NOT NULL, 
	CONSTRAINT pk_call PRIMARY KEY (id), 
	CONSTRAINT ck_call_ck_call_status CHECK (status IN ('clear', 'early death', 'developing', 'late death', 'damaged', 'cannot tell')), 
	CONSTRAINT ck_call_ck_call_undo CHECK (status IS NOT NULL OR replaces_id IS NOT NULL), 
	CONSTRAINT fk_call_egg_id FOREIGN KEY(egg_id) REFERENCES egg (id), 
	CONSTRAINT fk_call_proposal_id FOREIGN KEY(proposal_id) REFERENCES proposal (id), 
	CONSTRAINT fk_call_replaces_id FOREIGN KEY(replaces_id) REFERENCES call (id)
);
INSERT INTO "call" VALUES(1,NULL,2,'clear','Ann','2026-03-08T18:00:00.000000+00:00',2,1,'','2026-11-25T10:57:09.995594+00:00');
INSERT INTO "call" VALUES(2,NULL,4,'early death','Ann','2026-03-08T18:00:00.000000+00:00',NULL,0,'','2026-11-25T10:57:10.019229+00:00');
INSERT INTO "call" VALUES(3,2,4,NULL,'Bob','2026-03-08T18:00:00.000000+00:00',NULL,0,'','2026-11-25T10:57:10.035283+00:00');
INSERT INTO "call" VALUES(4,NULL,4,'clear','Bob','2026-03-08T18:00:00.000000+00:00',NULL,0,'','2026-11-25T10:57:10.064110+00:00');
CREATE TABLE egg (
	id INTEGER NOT NULL, 
	first_id INTEGER, 
	replaces_id INTEGER, 
	batch_id INTEGER NOT NULL, 
	tray_id INTEGER NOT NULL, 
	cup TEXT NOT NULL, 
	breed TEXT DEFAULT '' NOT NULL, 
	source TEXT DEFAULT '' NOT NULL, 
	mark TEXT DEFAULT '' NOT NULL, 
	note TEXT DEFAULT '' NOT NULL, 
	withdrawn BOOLEAN NOT NULL, 
	recorded_at VARCHAR(32) NOT NULL, 
	CONSTRAINT pk_egg PRIMARY KEY (id), 
	CONSTRAINT fk_egg_batch_id FOREIGN KEY(batch_id) REFERENCES batch (id), 
	CONSTRAINT fk_egg_first_id FOREIGN KEY(first_id) REFERENCES egg (id), 
	CONSTRAINT fk_egg_replaces_id FOREIGN KEY(replaces_id) REFERENCES egg (id), 
	CONSTRAINT fk_egg_tray_id FOREIGN KEY(tray_id) REFERENCES tray (id), 
	CONSTRAINT uq_egg_replaces_id UNIQUE (replaces_id)
);
INSERT INTO "egg" VALUES(1,NULL,NULL,1,1,'A1','','','','',0,'2026-11-25T10:57:09.403016+00:00');
INSERT INTO "egg" VALUES(2,NULL,NULL,1,1,'A2','','','','',0,'2026-11-25T10:57:09.403854+00:00');
INSERT INTO "egg" VALUES(3,NULL,NULL,1,1,'A3','','','','',0,'2026-11-25T10:57:09.416410+00:00');
INSERT INTO "egg" VALUES(4,NULL,NULL,1,1,'B1','','','','',0,'2026-11-25T10:57:09.416863+00:00');
INSERT INTO "egg" VALUES(5,NULL,NULL,1,1,'B2','','','','',0,'2026-11-25T10:57:09.417086+00:00');
INSERT INTO "egg" VALUES(6,NULL,NULL,1,1,'B3','','','','',0,'2026-11-25T10:57:09.417300+00:00');
INSERT INTO "egg" VALUES(7,1,1,1,1,'A2','','','','',0,'2026-11-25T10:57:09.916592+00:00');
INSERT INTO "egg" VALUES(8,2,2,1,1,'A1','','','','',0,'2026-11-25T10:57:09.918518+00:00');
INSERT INTO "egg" VALUES(9,3,3,1,1,'A3','Vorwerk','','17','',0,'2026-11-25T10:57:09.961040+00:00');
INSERT INTO "egg" VALUES(10,6,6,1,1,'B3','','','','',1,'2026-11-25T10:57:09.977501+00:00');
CREATE TABLE outcome (
	id INTEGER NOT NULL, 
	replaces_id INTEGER, 
	egg_id INTEGER NOT NULL, 
	found TEXT, 
	embryo_day FLOAT, 
	who TEXT NOT NULL, 
	at VARCHAR(32) NOT NULL, 
	note TEXT DEFAULT '' NOT NULL, 
	recorded_at VARCHAR(32) NOT NULL, 
	CONSTRAINT pk_outcome PRIMARY KEY (id), 
	CONSTRAINT ck_outcome_ck_outcome_found CHECK (found IN ('no development', 'ring', 'embryo', 'alive', 'not opened', 'hatched')), 
	CONSTRAINT ck_outcome_ck_outcome_embryo_day CHECK (embryo_day IS NULL OR embryo_day >= 0), 
	CONSTRAINT fk_outcome_egg_id FOREIGN KEY(egg_id) REFERENCES egg (id), 
	CONSTRAINT fk_outcome_replaces_id FOREIGN KEY(replaces_id) REFERENCES outcome (id), 
	CONSTRAINT uq_outcome_replaces_id UNIQUE (replaces_id)
);
INSERT INTO "outcome" VALUES(1,NULL,2,'no development',NULL,'Ann','2026-03-08T18:00:00.000000+00:00','','2026-11-25T10:57:10.127232+00:00');
INSERT INTO "outcome" VALUES(2,1,2,'ring',3.5,'Ann','2026-03-08T18:00:00.000000+00:00','seen late','2026-11-25T10:57:10.158236+00:00');
CREATE TABLE photo (
	id INTEGER NOT NULL, 
	sha256 VARCHAR(64) NOT NULL, 
	name TEXT NOT NULL, 
	suffix TEXT NOT NULL, 
	size_bytes INTEGER NOT NULL, 
	width_px INTEGER, 
	height_px INTEGER, 
	taken_at TEXT, 
	recorded_at VARCHAR(32) NOT NULL, 
	CONSTRAINT pk_photo PRIMARY KEY (id), 
	CONSTRAINT uq_photo_sha256 UNIQUE (sha256)
);
INSERT INTO "photo" VALUES(1,'96210597a3cedee79899b4b1a5068078e7ac45d7489f7ceeb69383db21f322a5','egg.jpg','.jpg',7,NULL,NULL,NULL,'2026-11-25T10:57:09.488996+00:00');
INSERT INTO "photo" VALUES(2,'e5a5555d73bc0e1568d65563abf327bd6c0b9b9dc3336e86e0b17e865e9ee6d2','egg.jpg','.jpg',7,NULL,NULL,NULL,'2026-11-25T10:57:09.585125+00:00');
INSERT INTO "photo" VALUES(3,'9b73ce2e5c72e9c8eb35ae3f509ef901b26ed3e9811f0782f3633cceab140918','egg.jpg','.jpg',7,NULL,NULL,NULL,'2026-11-25T10:57:09.688972+00:00');
INSERT INTO "photo" VALUES(4,'73fb47247808eefa92140859d5aeee8955cca452b9f6873e67ecbeba9276a3f4','egg.jpg','.jpg',7,NULL,NULL,NULL,'2026-11-25T10:57:09.781047+00:00');
CREATE TABLE proposal (
	id INTEGER NOT NULL, 
	replaces_id INTEGER, 
	reading_id INTEGER NOT NULL, 
	status TEXT NOT NULL, 
	clear FLOAT NOT NULL, 
	early_death FLOAT NOT NULL, 
	developing FLOAT NOT NULL, 
	decision TEXT NOT NULL, 
	reasons TEXT NOT NULL, 
	apparent_day FLOAT, 
	apparent_low FLOAT, 
	apparent_high FLOAT, 
	recorded_at VARCHAR(32) NOT NULL, 
	CONSTRAINT pk_proposal PRIMARY KEY (id), 
	CONSTRAINT ck_proposal_ck_proposal_decision CHECK (decision IN ('pass', 'confirm', 'review')), 
	CONSTRAINT ck_proposal_ck_proposal_status CHECK (status IN ('clear', 'early death', 'developing')), 
	CONSTRAINT fk_proposal_reading_id FOREIGN KEY(reading_id) REFERENCES reading (id), 
	CONSTRAINT fk_proposal_replaces_id FOREIGN KEY(replaces_id) REFERENCES proposal (id), 
	CONSTRAINT uq_proposal_replaces_id UNIQUE (replaces_id)
);
INSERT INTO "proposal" VALUES(1,NULL,1,'developing',1.50000000000000133226e-02,1.50000000000000133226e-02,0.97,'pass','["veins found"]',7.2,5.0,9.4,'2026-11-25T10:57:09.518667+00:00');
INSERT INTO "proposal" VALUES(2,NULL,2,'clear',0.9,4.99999999999999888977e-02,4.99999999999999888977e-02,'confirm','["veins found"]',7.2,5.0,9.4,'2026-11-25T10:57:09.599150+00:00');
INSERT INTO "proposal" VALUES(3,NULL,3,'developing',1.50000000000000133226e-02,1.50000000000000133226e-02,0.97,'pass','["veins found"]',7.2,5.0,9.4,'2026-11-25T10:57:09.707521+00:00');
INSERT INTO "proposal" VALUES(4,NULL,4,'clear',0.9,4.99999999999999888977e-02,4.99999999999999888977e-02,'confirm','["veins found"]',7.2,5.0,9.4,'2026-11-25T10:57:09.795863+00:00');
CREATE TABLE pull (
	id INTEGER NOT NULL, 
	replaces_id INTEGER, 
	egg_id INTEGER NOT NULL, 
	pulled BOOLEAN NOT NULL, 
	who TEXT NOT NULL, 
	at VARCHAR(32) NOT NULL, 
	recorded_at VARCHAR(32) NOT NULL, 
	CONSTRAINT pk_pull PRIMARY KEY (id), 
	CONSTRAINT fk_pull_egg_id FOREIGN KEY(egg_id) REFERENCES egg (id), 
	CONSTRAINT fk_pull_replaces_id FOREIGN KEY(replaces_id) REFERENCES pull (id), 
	CONSTRAINT uq_pull_replaces_id UNIQUE (replaces_id)
);
INSERT INTO "pull" VALUES(1,NULL,2,1,'Ann','2026-03-08T18:00:00.000000+00:00','2026-11-25T10:57:10.081686+00:00');
INSERT INTO "pull" VALUES(2,NULL,4,1,'Ann','2026-03-08T18:00:00.000000+00:00','2026-11-25T10:57:10.097283+00:00');
INSERT INTO "pull" VALUES(3,2,4,0,'Ann','2026-03-08T18:00:00.000000+00:00','2026-11-25T10:57:10.109781+00:00');
CREATE TABLE reading (
	id INTEGER NOT NULL, 
	replaces_id INTEGER, 
	egg_id INTEGER NOT NULL, 
	photo_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	day FLOAT NOT NULL, 
	"view" TEXT, 
	model TEXT NOT NULL, 
	schema_version INTEGER NOT NULL, 
	measured TEXT NOT NULL, 
	recorded_at VARCHAR(32) NOT NULL, 
	CONSTRAINT pk_reading PRIMARY KEY (id), 
	CONSTRAINT ck_reading_ck_reading_day CHECK (day >= 0), 
	CONSTRAINT fk_reading_egg_id FOREIGN KEY(egg_id) REFERENCES egg (id), 
	CONSTRAINT fk_reading_photo_id FOREIGN KEY(photo_id) REFERENCES photo (id), 
	CONSTRAINT fk_reading_replaces_id FOREIGN KEY(replaces_id) REFERENCES reading (id), 
	CONSTRAINT uq_reading_replaces_id UNIQUE (replaces_id)
);
INSERT INTO "reading" VALUES(1,NULL,1,1,1,7.0,'side','m1',1,'{"cup": null, "outline": {"centre_px": [50.0, 60.0], "length_px": 57.0, "breadth_px": 42.0, "axis_deg": 90.0, "long_axis_deg": 90.0, "polygon_px": [[50.0, 31.5], [71.0, 60.0], [50.0, 88.5]]}, "quality": {"usable": true, "problems": []}, "air_cell": {"depth_fraction": 0.2, "diameter_fraction": 0.6, "volume_fraction": 0.05, "tilt_deg": 1.0, "boundary_px": [[1.0, 2.0], [3.0, 4.0]], "confidence": 0.9}, "veins": {"visible": true, "length_per_area": null, "area_fraction": null}, "embryo": {"visible": null, "area_fraction": null, "centre_px": null}, "apparent_day": {"day": 7.2, "low": 5.0, "high": 9.4}, "proposal": {"status": "developing", "probability": {"clear": 0.015000000000000013, "early death": 0.015000000000000013, "developing": 0.97}, "decision": "pass", "reasons": ["veins found"]}, "missing": {}}','2026-11-25T10:57:09.517110+00:00');
INSERT INTO "reading" VALUES(2,NULL,2,2,1,7.0,'side','m1',1,'{"cup": null, "outline": {"centre_px": [50.0, 60.0], "length_px": 57.0, "breadth_px": 42.0, "axis_deg": 90.0, "long_axis_deg": 90.0, "polygon_px": [[50.0, 31.5], [71.0, 60.0], [50.0, 88.5]]}, "quality": {"usable": true, "problems": []}, "air_cell": null, "veins": {"visible": false, "length_per_area": null, "area_fraction": null}, "embryo": {"visible": null, "area_fraction": null, "centre_px": null}, "apparent_day": {"day": 7.2, "low": 5.0, "high": 9.4}, "proposal": {"status": "clear", "probability": {"clear": 0.9, "early death": 0.04999999999999999, "developing": 0.04999999999999999}, "decision": "confirm", "reasons": ["veins found"]}, "missing": {}}','2026-11-25T10:57:09.598262+00:00');
INSERT INTO "reading" VALUES(3,NULL,3,3,1,7.0,'side','m1',1,'{"cup": null, "outline": {"centre_px": [50.0, 60.0], "length_px": 57.0, "breadth_px": 42.0, "axis_deg": 90.0, "long_axis_deg": 90.0, "polygon_px": [[50.0, 31.5], [71.0, 60.0], [50.0, 88.5]]}, "quality": {"usable": true, "problems": []}, "air_cell": {"depth_fraction": 0.2, "diameter_fraction": 0.6, "volume_fraction": 0.05, "tilt_deg": 1.0, "boundary_px": [[1.0, 2.0], [3.0, 4.0]], "confidence": 0.9}, "veins": {"visible": true, "length_per_area": null, "area_fraction": null}, "embryo": {"visible": null, "area_fraction": null, "centre_px": null}, "apparent_day": {"day": 7.2, "low": 5.0, "high": 9.4}, "proposal": {"status": "developing", "probability": {"clear": 0.015000000000000013, "early death": 0.015000000000000013, "developing": 0.97}, "decision": "pass", "reasons": ["veins found"]}, "missing": {}}','2026-11-25T10:57:09.706813+00:00');
INSERT INTO "reading" VALUES(4,NULL,4,4,1,7.0,'side','m1',1,'{"cup": null, "outline": {"centre_px": [50.0, 60.0], "length_px": 57.0, "breadth_px": 42.0, "axis_deg": 90.0, "long_axis_deg": 90.0, "polygon_px": [[50.0, 31.5], [71.0, 60.0], [50.0, 88.5]]}, "quality": {"usable": true, "problems": []}, "air_cell": null, "veins": {"visible": false, "length_per_area": null, "area_fraction": null}, "embryo": {"visible": null, "area_fraction": null, "centre_px": null}, "apparent_day": {"day": 7.2, "low": 5.0, "high": 9.4}, "proposal": {"status": "clear", "probability": {"clear": 0.9, "early death": 0.04999999999999999, "developing": 0.04999999999999999}, "decision": "confirm", "reasons": ["veins found"]}, "missing": {}}','2026-11-25T10:57:09.795165+00:00');
CREATE TABLE tray (
	id INTEGER NOT NULL, 
	first_id INTEGER, 
	replaces_id INTEGER, 
	batch_id INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	rows INTEGER NOT NULL, 
	columns INTEGER NOT NULL, 
	layout TEXT NOT NULL, 
	recorded_at VARCHAR(32) NOT NULL, 
	CONSTRAINT pk_tray PRIMARY KEY (id), 
	CONSTRAINT ck_tray_ck_tray_size CHECK (rows > 0 AND columns > 0), 
	CONSTRAINT fk_tray_batch_id FOREIGN KEY(batch_id) REFERENCES batch (id), 
	CONSTRAINT fk_tray_first_id FOREIGN KEY(first_id) REFERENCES tray (id), 
	CONSTRAINT fk_tray_replaces_id FOREIGN KEY(replaces_id) REFERENCES tray (id), 
	CONSTRAINT uq_tray_replaces_id UNIQUE (replaces_id)
);
INSERT INTO "tray" VALUES(1,NULL,NULL,1,'1',2,3,'grid','2026-11-25T10:57:09.373833+00:00');
CREATE INDEX ix_batch_first_id ON batch (first_id);
CREATE INDEX ix_tray_batch_id ON tray (batch_id);
CREATE INDEX ix_tray_first_id ON tray (first_id);
CREATE INDEX ix_egg_batch_id ON egg (batch_id);
CREATE INDEX ix_egg_first_id ON egg (first_id);
CREATE INDEX ix_egg_tray_id ON egg (tray_id);
CREATE INDEX ix_outcome_egg_id ON outcome (egg_id);
CREATE INDEX ix_pull_egg_id ON pull (egg_id);
CREATE INDEX ix_reading_egg_id ON reading (egg_id);
CREATE INDEX ix_reading_photo_id ON reading (photo_id);
CREATE INDEX ix_proposal_reading_id ON proposal (reading_id);
CREATE INDEX ix_call_egg_id ON call (egg_id);
CREATE INDEX ix_call_replaces_id ON call (replaces_id);
CREATE UNIQUE INDEX uq_call_undone ON call (replaces_id) WHERE status IS NULL;
CREATE TRIGGER batch_no_update BEFORE UPDATE ON "batch" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER batch_no_delete BEFORE DELETE ON "batch" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER batch_no_replace BEFORE INSERT ON "batch" WHEN EXISTS (SELECT 1 FROM "batch" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER tray_no_update BEFORE UPDATE ON "tray" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER tray_no_delete BEFORE DELETE ON "tray" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER tray_no_replace BEFORE INSERT ON "tray" WHEN EXISTS (SELECT 1 FROM "tray" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER egg_no_update BEFORE UPDATE ON "egg" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER egg_no_delete BEFORE DELETE ON "egg" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER egg_no_replace BEFORE INSERT ON "egg" WHEN EXISTS (SELECT 1 FROM "egg" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER photo_no_update BEFORE UPDATE ON "photo" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER photo_no_delete BEFORE DELETE ON "photo" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER photo_no_replace BEFORE INSERT ON "photo" WHEN EXISTS (SELECT 1 FROM "photo" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER reading_no_update BEFORE UPDATE ON "reading" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER reading_no_delete BEFORE DELETE ON "reading" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER reading_no_replace BEFORE INSERT ON "reading" WHEN EXISTS (SELECT 1 FROM "reading" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER proposal_no_update BEFORE UPDATE ON "proposal" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER proposal_no_delete BEFORE DELETE ON "proposal" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER proposal_no_replace BEFORE INSERT ON "proposal" WHEN EXISTS (SELECT 1 FROM "proposal" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER call_no_update BEFORE UPDATE ON "call" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER call_no_delete BEFORE DELETE ON "call" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER call_no_replace BEFORE INSERT ON "call" WHEN EXISTS (SELECT 1 FROM "call" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER outcome_no_update BEFORE UPDATE ON "outcome" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER outcome_no_delete BEFORE DELETE ON "outcome" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER outcome_no_replace BEFORE INSERT ON "outcome" WHEN EXISTS (SELECT 1 FROM "outcome" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER pull_no_update BEFORE UPDATE ON "pull" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER pull_no_delete BEFORE DELETE ON "pull" BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
CREATE TRIGGER pull_no_replace BEFORE INSERT ON "pull" WHEN EXISTS (SELECT 1 FROM "pull" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added to, never changed'); END;
COMMIT;
