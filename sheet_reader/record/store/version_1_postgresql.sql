CREATE TABLE about (
	id SERIAL NOT NULL,
	name VARCHAR(40) NOT NULL,
	value TEXT NOT NULL,
	PRIMARY KEY (id),
	UNIQUE (name, value)
)

CREATE TABLE drafts (
	id SERIAL NOT NULL,
	letter VARCHAR(120) NOT NULL,
	site VARCHAR(40) NOT NULL,
	visit_date VARCHAR(10) NOT NULL,
	item TEXT NOT NULL,
	drafted_at VARCHAR(32) NOT NULL,
	PRIMARY KEY (id)
)

CREATE INDEX ix_drafts_letter ON drafts (letter)

CREATE TABLE leases (
	place VARCHAR(80) NOT NULL,
	by TEXT NOT NULL,
	holder VARCHAR(200) NOT NULL,
	until VARCHAR(40) NOT NULL,
	PRIMARY KEY (place)
)

CREATE TABLE mail_messages (
	id SERIAL NOT NULL,
	mailbox TEXT NOT NULL,
	mark VARCHAR(60) NOT NULL,
	seen_at VARCHAR(32) NOT NULL,
	PRIMARY KEY (id),
	UNIQUE (mailbox, mark)
)

CREATE TABLE meanings (
	id SERIAL NOT NULL,
	kind VARCHAR(12) NOT NULL,
	former VARCHAR(200) NOT NULL,
	former_said TEXT NOT NULL,
	present VARCHAR(200) NOT NULL,
	present_said TEXT NOT NULL,
	same BOOLEAN NOT NULL,
	by TEXT NOT NULL,
	at VARCHAR(32) NOT NULL,
	program VARCHAR(40) NOT NULL,
	undoes INTEGER,
	PRIMARY KEY (id),
	UNIQUE (undoes),
	FOREIGN KEY(undoes) REFERENCES meanings (id)
)

CREATE TABLE photos (
	id SERIAL NOT NULL,
	sha256 VARCHAR(64) NOT NULL,
	name TEXT NOT NULL,
	original TEXT NOT NULL,
	bytes INTEGER NOT NULL,
	received_at VARCHAR(32) NOT NULL,
	status VARCHAR(12) NOT NULL,
	reasons TEXT,
	attempts INTEGER NOT NULL,
	read_at VARCHAR(32),
	program VARCHAR(40) NOT NULL,
	model VARCHAR(80) NOT NULL,
	circumstances VARCHAR(64) NOT NULL,
	claimed_by VARCHAR(200),
	claimed_at VARCHAR(32),
	forgotten_at VARCHAR(32),
	PRIMARY KEY (id),
	UNIQUE (sha256)
)

CREATE INDEX photos_by_name ON photos (name)

CREATE INDEX photos_by_status ON photos (status)

CREATE TABLE row_checksums (
	table_name VARCHAR(20) NOT NULL,
	row_id INTEGER NOT NULL,
	owner INTEGER,
	field VARCHAR(200) NOT NULL,
	digest VARCHAR(32) NOT NULL,
	PRIMARY KEY (table_name, row_id)
)

CREATE INDEX row_checksums_open ON row_checksums (table_name, row_id) WHERE digest IN ('', '-')

CREATE TABLE schema_version (
	version INTEGER NOT NULL,
	name VARCHAR(80) NOT NULL,
	applied_at VARCHAR(32) NOT NULL,
	program VARCHAR(40) NOT NULL,
	PRIMARY KEY (version)
)

CREATE TABLE site_labels (
	id SERIAL NOT NULL,
	site VARCHAR(40) NOT NULL,
	label TEXT NOT NULL,
	PRIMARY KEY (id),
	UNIQUE (site, label)
)

CREATE TABLE wordings (
	id SERIAL NOT NULL,
	said TEXT NOT NULL,
	PRIMARY KEY (id)
)

CREATE TABLE origins (
	id SERIAL NOT NULL,
	photo_id INTEGER NOT NULL,
	way VARCHAR(12) NOT NULL,
	file_name TEXT NOT NULL,
	container TEXT NOT NULL,
	sender TEXT NOT NULL,
	sent_at VARCHAR(40) NOT NULL,
	subject TEXT NOT NULL,
	seen_at VARCHAR(32) NOT NULL,
	PRIMARY KEY (id),
	UNIQUE (photo_id, way, file_name, container, sender, sent_at, subject),
	FOREIGN KEY(photo_id) REFERENCES photos (id)
)

CREATE INDEX ix_origins_photo_id ON origins (photo_id)

CREATE TABLE page_instances (
	id SERIAL NOT NULL,
	photo_id INTEGER NOT NULL,
	frame INTEGER NOT NULL,
	position INTEGER NOT NULL,
	study VARCHAR(40) NOT NULL,
	layout VARCHAR(40) NOT NULL,
	sheet VARCHAR(40) NOT NULL,
	page INTEGER NOT NULL,
	identity VARCHAR(36) NOT NULL,
	decoded_under VARCHAR(120),
	wording INTEGER NOT NULL,
	PRIMARY KEY (id),
	UNIQUE (photo_id, frame, study, layout, sheet, page, position),
	FOREIGN KEY(photo_id) REFERENCES photos (id),
	UNIQUE (identity),
	FOREIGN KEY(wording) REFERENCES wordings (id)
)

CREATE TABLE reading_runs (
	id SERIAL NOT NULL,
	page_instance_id INTEGER NOT NULL,
	attempt INTEGER NOT NULL,
	at VARCHAR(32) NOT NULL,
	program VARCHAR(40) NOT NULL,
	model VARCHAR(80) NOT NULL,
	identified_by VARCHAR(40) NOT NULL,
	px_per_mm FLOAT NOT NULL,
	blur_mm FLOAT NOT NULL,
	contrast FLOAT NOT NULL,
	hidden_boxes INTEGER NOT NULL,
	glare_share FLOAT NOT NULL,
	advice TEXT NOT NULL,
	site VARCHAR(40),
	visit_date VARCHAR(10),
	outline TEXT NOT NULL,
	threshold FLOAT NOT NULL,
	evidence BYTEA,
	decoded_from INTEGER,
	PRIMARY KEY (id),
	FOREIGN KEY(page_instance_id) REFERENCES page_instances (id)
)

CREATE INDEX ix_reading_runs_page_instance_id ON reading_runs (page_instance_id)

CREATE TABLE remarks (
	id SERIAL NOT NULL,
	page_instance_id INTEGER,
	site VARCHAR(40) NOT NULL,
	visit_date VARCHAR(10) NOT NULL,
	source VARCHAR(12) NOT NULL,
	mark VARCHAR(64) NOT NULL,
	author TEXT NOT NULL,
	text TEXT NOT NULL,
	kept_at VARCHAR(32) NOT NULL,
	photo_id INTEGER,
	PRIMARY KEY (id),
	UNIQUE (site, visit_date, mark),
	FOREIGN KEY(page_instance_id) REFERENCES page_instances (id)
)

CREATE INDEX ix_remarks_page_instance_id ON remarks (page_instance_id)

CREATE TABLE sheet_decisions (
	id SERIAL NOT NULL,
	photo_id INTEGER NOT NULL,
	page_instance_id INTEGER,
	kind VARCHAR(12) NOT NULL,
	value VARCHAR(40),
	was VARCHAR(40),
	reason TEXT NOT NULL,
	by TEXT NOT NULL,
	at VARCHAR(32) NOT NULL,
	program VARCHAR(40) NOT NULL,
	undoes INTEGER,
	runs_before INTEGER NOT NULL,
	decisions_before INTEGER NOT NULL,
	PRIMARY KEY (id),
	FOREIGN KEY(photo_id) REFERENCES photos (id),
	FOREIGN KEY(page_instance_id) REFERENCES page_instances (id),
	UNIQUE (undoes),
	FOREIGN KEY(undoes) REFERENCES sheet_decisions (id)
)

CREATE INDEX ix_sheet_decisions_photo_id ON sheet_decisions (photo_id)

CREATE TABLE readings (
	id SERIAL NOT NULL,
	run_id INTEGER NOT NULL,
	field VARCHAR(200) NOT NULL,
	value VARCHAR(40),
	confidence FLOAT NOT NULL,
	status VARCHAR(12) NOT NULL,
	reasons TEXT,
	runner_up VARCHAR(40),
	runner_up_confidence FLOAT NOT NULL,
	corners TEXT NOT NULL,
	boxes_png BYTEA NOT NULL,
	context_png BYTEA NOT NULL,
	PRIMARY KEY (id),
	UNIQUE (run_id, field),
	FOREIGN KEY(run_id) REFERENCES reading_runs (id)
)

CREATE TABLE blind_answers (
	id SERIAL NOT NULL,
	page_instance_id INTEGER NOT NULL,
	field VARCHAR(200) NOT NULL,
	reading_id INTEGER NOT NULL,
	said VARCHAR(40) NOT NULL,
	by TEXT NOT NULL,
	at VARCHAR(32) NOT NULL,
	program VARCHAR(40) NOT NULL,
	decisions_before INTEGER NOT NULL,
	PRIMARY KEY (id),
	UNIQUE (page_instance_id, field, by),
	FOREIGN KEY(page_instance_id) REFERENCES page_instances (id),
	FOREIGN KEY(reading_id) REFERENCES readings (id)
)

CREATE TABLE decisions (
	id SERIAL NOT NULL,
	page_instance_id INTEGER NOT NULL,
	field VARCHAR(200) NOT NULL,
	reading_id INTEGER NOT NULL,
	kind VARCHAR(12) NOT NULL,
	value VARCHAR(40),
	by TEXT NOT NULL,
	at VARCHAR(32) NOT NULL,
	program VARCHAR(40) NOT NULL,
	blind BOOLEAN NOT NULL,
	undoes INTEGER,
	runs_before INTEGER NOT NULL,
	answer INTEGER,
	told TEXT,
	reason TEXT,
	PRIMARY KEY (id),
	FOREIGN KEY(page_instance_id) REFERENCES page_instances (id),
	FOREIGN KEY(reading_id) REFERENCES readings (id),
	UNIQUE (undoes),
	FOREIGN KEY(undoes) REFERENCES decisions (id)
)

CREATE INDEX decisions_by_place ON decisions (page_instance_id, field)

CREATE TABLE overruled (
	id SERIAL NOT NULL,
	decision_id INTEGER NOT NULL,
	page_instance_id INTEGER NOT NULL,
	value VARCHAR(40),
	PRIMARY KEY (id),
	FOREIGN KEY(decision_id) REFERENCES decisions (id),
	FOREIGN KEY(page_instance_id) REFERENCES page_instances (id)
)

CREATE INDEX ix_overruled_decision_id ON overruled (decision_id)

CREATE FUNCTION reading_runs_keep() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'reading_runs is only ever added to'; END $$

CREATE TRIGGER reading_runs_keep BEFORE UPDATE OR DELETE ON reading_runs FOR EACH ROW EXECUTE FUNCTION reading_runs_keep()

CREATE FUNCTION readings_keep() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'readings is only ever added to'; END $$

CREATE TRIGGER readings_keep BEFORE UPDATE OR DELETE ON readings FOR EACH ROW EXECUTE FUNCTION readings_keep()

CREATE FUNCTION decisions_keep() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'decisions is only ever added to'; END $$

CREATE TRIGGER decisions_keep BEFORE UPDATE OR DELETE ON decisions FOR EACH ROW EXECUTE FUNCTION decisions_keep()

CREATE FUNCTION overruled_keep() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'overruled is only ever added to'; END $$

CREATE TRIGGER overruled_keep BEFORE UPDATE OR DELETE ON overruled FOR EACH ROW EXECUTE FUNCTION overruled_keep()

CREATE FUNCTION sheet_decisions_keep() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'sheet_decisions is only ever added to'; END $$

CREATE TRIGGER sheet_decisions_keep BEFORE UPDATE OR DELETE ON sheet_decisions FOR EACH ROW EXECUTE FUNCTION sheet_decisions_keep()

CREATE FUNCTION wordings_keep() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'wordings is only ever added to'; END $$

CREATE TRIGGER wordings_keep BEFORE UPDATE OR DELETE ON wordings FOR EACH ROW EXECUTE FUNCTION wordings_keep()

CREATE FUNCTION meanings_keep() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'meanings is only ever added to'; END $$

CREATE TRIGGER meanings_keep BEFORE UPDATE OR DELETE ON meanings FOR EACH ROW EXECUTE FUNCTION meanings_keep()

CREATE FUNCTION site_labels_keep() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'site_labels is only ever added to'; END $$

CREATE TRIGGER site_labels_keep BEFORE UPDATE OR DELETE ON site_labels FOR EACH ROW EXECUTE FUNCTION site_labels_keep()

CREATE FUNCTION blind_answers_keep() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'blind_answers is only ever added to'; END $$

CREATE TRIGGER blind_answers_keep BEFORE UPDATE OR DELETE ON blind_answers FOR EACH ROW EXECUTE FUNCTION blind_answers_keep()

CREATE FUNCTION photos_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'photos' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NULL, field = '', digest = '' WHERE table_name = 'photos' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'photos', NEW.id, NULL, '', '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'photos' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER photos_checksum_insert AFTER INSERT ON photos FOR EACH ROW EXECUTE FUNCTION photos_checksum_insert()

CREATE FUNCTION photos_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'photos' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER photos_checksum_update AFTER UPDATE ON photos FOR EACH ROW EXECUTE FUNCTION photos_checksum_update()

CREATE FUNCTION photos_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'photos' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER photos_checksum_delete AFTER DELETE ON photos FOR EACH ROW EXECUTE FUNCTION photos_checksum_delete()

CREATE FUNCTION origins_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'origins' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NEW.photo_id, field = '', digest = '' WHERE table_name = 'origins' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'origins', NEW.id, NEW.photo_id, '', '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'origins' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER origins_checksum_insert AFTER INSERT ON origins FOR EACH ROW EXECUTE FUNCTION origins_checksum_insert()

CREATE FUNCTION origins_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'origins' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER origins_checksum_update AFTER UPDATE ON origins FOR EACH ROW EXECUTE FUNCTION origins_checksum_update()

CREATE FUNCTION origins_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'origins' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER origins_checksum_delete AFTER DELETE ON origins FOR EACH ROW EXECUTE FUNCTION origins_checksum_delete()

CREATE FUNCTION mail_messages_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'mail_messages' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NULL, field = '', digest = '' WHERE table_name = 'mail_messages' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'mail_messages', NEW.id, NULL, '', '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'mail_messages' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER mail_messages_checksum_insert AFTER INSERT ON mail_messages FOR EACH ROW EXECUTE FUNCTION mail_messages_checksum_insert()

CREATE FUNCTION mail_messages_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'mail_messages' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER mail_messages_checksum_update AFTER UPDATE ON mail_messages FOR EACH ROW EXECUTE FUNCTION mail_messages_checksum_update()

CREATE FUNCTION mail_messages_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'mail_messages' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER mail_messages_checksum_delete AFTER DELETE ON mail_messages FOR EACH ROW EXECUTE FUNCTION mail_messages_checksum_delete()

CREATE FUNCTION page_instances_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'page_instances' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NEW.photo_id, field = '', digest = '' WHERE table_name = 'page_instances' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'page_instances', NEW.id, NEW.photo_id, '', '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'page_instances' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER page_instances_checksum_insert AFTER INSERT ON page_instances FOR EACH ROW EXECUTE FUNCTION page_instances_checksum_insert()

CREATE FUNCTION page_instances_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'page_instances' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER page_instances_checksum_update AFTER UPDATE ON page_instances FOR EACH ROW EXECUTE FUNCTION page_instances_checksum_update()

CREATE FUNCTION page_instances_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'page_instances' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER page_instances_checksum_delete AFTER DELETE ON page_instances FOR EACH ROW EXECUTE FUNCTION page_instances_checksum_delete()

CREATE FUNCTION reading_runs_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'reading_runs' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NEW.page_instance_id, field = '', digest = '' WHERE table_name = 'reading_runs' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'reading_runs', NEW.id, NEW.page_instance_id, '', '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'reading_runs' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER reading_runs_checksum_insert AFTER INSERT ON reading_runs FOR EACH ROW EXECUTE FUNCTION reading_runs_checksum_insert()

CREATE FUNCTION reading_runs_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'reading_runs' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER reading_runs_checksum_update AFTER UPDATE ON reading_runs FOR EACH ROW EXECUTE FUNCTION reading_runs_checksum_update()

CREATE FUNCTION reading_runs_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'reading_runs' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER reading_runs_checksum_delete AFTER DELETE ON reading_runs FOR EACH ROW EXECUTE FUNCTION reading_runs_checksum_delete()

CREATE FUNCTION readings_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'readings' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NEW.run_id, field = NEW.field, digest = '' WHERE table_name = 'readings' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'readings', NEW.id, NEW.run_id, NEW.field, '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'readings' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER readings_checksum_insert AFTER INSERT ON readings FOR EACH ROW EXECUTE FUNCTION readings_checksum_insert()

CREATE FUNCTION readings_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'readings' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER readings_checksum_update AFTER UPDATE ON readings FOR EACH ROW EXECUTE FUNCTION readings_checksum_update()

CREATE FUNCTION readings_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'readings' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER readings_checksum_delete AFTER DELETE ON readings FOR EACH ROW EXECUTE FUNCTION readings_checksum_delete()

CREATE FUNCTION decisions_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'decisions' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NEW.page_instance_id, field = NEW.field, digest = '' WHERE table_name = 'decisions' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'decisions', NEW.id, NEW.page_instance_id, NEW.field, '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'decisions' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER decisions_checksum_insert AFTER INSERT ON decisions FOR EACH ROW EXECUTE FUNCTION decisions_checksum_insert()

CREATE FUNCTION decisions_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'decisions' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER decisions_checksum_update AFTER UPDATE ON decisions FOR EACH ROW EXECUTE FUNCTION decisions_checksum_update()

CREATE FUNCTION decisions_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'decisions' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER decisions_checksum_delete AFTER DELETE ON decisions FOR EACH ROW EXECUTE FUNCTION decisions_checksum_delete()

CREATE FUNCTION overruled_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'overruled' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NEW.page_instance_id, field = '', digest = '' WHERE table_name = 'overruled' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'overruled', NEW.id, NEW.page_instance_id, '', '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'overruled' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER overruled_checksum_insert AFTER INSERT ON overruled FOR EACH ROW EXECUTE FUNCTION overruled_checksum_insert()

CREATE FUNCTION overruled_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'overruled' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER overruled_checksum_update AFTER UPDATE ON overruled FOR EACH ROW EXECUTE FUNCTION overruled_checksum_update()

CREATE FUNCTION overruled_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'overruled' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER overruled_checksum_delete AFTER DELETE ON overruled FOR EACH ROW EXECUTE FUNCTION overruled_checksum_delete()

CREATE FUNCTION sheet_decisions_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'sheet_decisions' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NEW.photo_id, field = '', digest = '' WHERE table_name = 'sheet_decisions' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'sheet_decisions', NEW.id, NEW.photo_id, '', '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'sheet_decisions' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER sheet_decisions_checksum_insert AFTER INSERT ON sheet_decisions FOR EACH ROW EXECUTE FUNCTION sheet_decisions_checksum_insert()

CREATE FUNCTION sheet_decisions_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'sheet_decisions' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER sheet_decisions_checksum_update AFTER UPDATE ON sheet_decisions FOR EACH ROW EXECUTE FUNCTION sheet_decisions_checksum_update()

CREATE FUNCTION sheet_decisions_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'sheet_decisions' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER sheet_decisions_checksum_delete AFTER DELETE ON sheet_decisions FOR EACH ROW EXECUTE FUNCTION sheet_decisions_checksum_delete()

CREATE FUNCTION drafts_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'drafts' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NULL, field = '', digest = '' WHERE table_name = 'drafts' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'drafts', NEW.id, NULL, '', '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'drafts' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER drafts_checksum_insert AFTER INSERT ON drafts FOR EACH ROW EXECUTE FUNCTION drafts_checksum_insert()

CREATE FUNCTION drafts_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'drafts' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER drafts_checksum_update AFTER UPDATE ON drafts FOR EACH ROW EXECUTE FUNCTION drafts_checksum_update()

CREATE FUNCTION drafts_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'drafts' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER drafts_checksum_delete AFTER DELETE ON drafts FOR EACH ROW EXECUTE FUNCTION drafts_checksum_delete()

CREATE FUNCTION remarks_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'remarks' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NEW.page_instance_id, field = '', digest = '' WHERE table_name = 'remarks' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'remarks', NEW.id, NEW.page_instance_id, '', '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'remarks' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER remarks_checksum_insert AFTER INSERT ON remarks FOR EACH ROW EXECUTE FUNCTION remarks_checksum_insert()

CREATE FUNCTION remarks_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'remarks' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER remarks_checksum_update AFTER UPDATE ON remarks FOR EACH ROW EXECUTE FUNCTION remarks_checksum_update()

CREATE FUNCTION remarks_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'remarks' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER remarks_checksum_delete AFTER DELETE ON remarks FOR EACH ROW EXECUTE FUNCTION remarks_checksum_delete()

CREATE FUNCTION meanings_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'meanings' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NULL, field = '', digest = '' WHERE table_name = 'meanings' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'meanings', NEW.id, NULL, '', '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'meanings' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER meanings_checksum_insert AFTER INSERT ON meanings FOR EACH ROW EXECUTE FUNCTION meanings_checksum_insert()

CREATE FUNCTION meanings_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'meanings' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER meanings_checksum_update AFTER UPDATE ON meanings FOR EACH ROW EXECUTE FUNCTION meanings_checksum_update()

CREATE FUNCTION meanings_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'meanings' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER meanings_checksum_delete AFTER DELETE ON meanings FOR EACH ROW EXECUTE FUNCTION meanings_checksum_delete()

CREATE FUNCTION wordings_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'wordings' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NULL, field = '', digest = '' WHERE table_name = 'wordings' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'wordings', NEW.id, NULL, '', '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'wordings' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER wordings_checksum_insert AFTER INSERT ON wordings FOR EACH ROW EXECUTE FUNCTION wordings_checksum_insert()

CREATE FUNCTION wordings_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'wordings' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER wordings_checksum_update AFTER UPDATE ON wordings FOR EACH ROW EXECUTE FUNCTION wordings_checksum_update()

CREATE FUNCTION wordings_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'wordings' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER wordings_checksum_delete AFTER DELETE ON wordings FOR EACH ROW EXECUTE FUNCTION wordings_checksum_delete()

CREATE FUNCTION site_labels_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'site_labels' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NULL, field = '', digest = '' WHERE table_name = 'site_labels' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'site_labels', NEW.id, NULL, '', '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'site_labels' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER site_labels_checksum_insert AFTER INSERT ON site_labels FOR EACH ROW EXECUTE FUNCTION site_labels_checksum_insert()

CREATE FUNCTION site_labels_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'site_labels' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER site_labels_checksum_update AFTER UPDATE ON site_labels FOR EACH ROW EXECUTE FUNCTION site_labels_checksum_update()

CREATE FUNCTION site_labels_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'site_labels' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER site_labels_checksum_delete AFTER DELETE ON site_labels FOR EACH ROW EXECUTE FUNCTION site_labels_checksum_delete()

CREATE FUNCTION blind_answers_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'blind_answers' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NEW.page_instance_id, field = NEW.field, digest = '' WHERE table_name = 'blind_answers' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'blind_answers', NEW.id, NEW.page_instance_id, NEW.field, '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'blind_answers' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER blind_answers_checksum_insert AFTER INSERT ON blind_answers FOR EACH ROW EXECUTE FUNCTION blind_answers_checksum_insert()

CREATE FUNCTION blind_answers_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'blind_answers' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER blind_answers_checksum_update AFTER UPDATE ON blind_answers FOR EACH ROW EXECUTE FUNCTION blind_answers_checksum_update()

CREATE FUNCTION blind_answers_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'blind_answers' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER blind_answers_checksum_delete AFTER DELETE ON blind_answers FOR EACH ROW EXECUTE FUNCTION blind_answers_checksum_delete()

CREATE FUNCTION about_checksum_insert() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = 'reused' WHERE table_name = 'about' AND row_id = NEW.id AND length(digest) = 32; UPDATE row_checksums SET owner = NULL, field = '', digest = '' WHERE table_name = 'about' AND row_id = NEW.id AND digest IN ('', '-'); INSERT INTO row_checksums SELECT 'about', NEW.id, NULL, '', '' WHERE NOT EXISTS (SELECT 1 FROM row_checksums WHERE table_name = 'about' AND row_id = NEW.id); RETURN NULL; END $$

CREATE TRIGGER about_checksum_insert AFTER INSERT ON about FOR EACH ROW EXECUTE FUNCTION about_checksum_insert()

CREATE FUNCTION about_checksum_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '' WHERE table_name = 'about' AND row_id IN (OLD.id, NEW.id) AND length(digest) = 32; RETURN NULL; END $$

CREATE TRIGGER about_checksum_update AFTER UPDATE ON about FOR EACH ROW EXECUTE FUNCTION about_checksum_update()

CREATE FUNCTION about_checksum_delete() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN UPDATE row_checksums SET digest = '-' WHERE table_name = 'about' AND row_id = OLD.id AND (length(digest) = 32 OR digest IN ('', '-')); RETURN NULL; END $$

CREATE TRIGGER about_checksum_delete AFTER DELETE ON about FOR EACH ROW EXECUTE FUNCTION about_checksum_delete()
