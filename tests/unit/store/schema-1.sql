BEGIN TRANSACTION;
CREATE TABLE actions (
	id TEXT NOT NULL, 
	utc_ms BIGINT NOT NULL, 
	lifter TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	who TEXT NOT NULL, 
	role TEXT NOT NULL, 
	body TEXT NOT NULL, 
	journal_id BIGINT, 
	PRIMARY KEY (id)
);
INSERT INTO "actions" VALUES('a1',1764019206000,'dock-6','surface','the supervisor','supervisor','{"id":"a1","kind":"surface","lifter":"dock-6","who":"the supervisor","role":"supervisor","params":{"surface":"wet"},"utc_s":1764019206.0}',2);
INSERT INTO "actions" VALUES('a2',1764019207000,'dock-6','service_note','maintenance','maintenance','{"id":"a2","kind":"service_note","lifter":"dock-6","who":"maintenance","role":"maintenance","params":{"note":"new seal"},"utc_s":1764019207.0}',NULL);
CREATE TABLE alarms (
	raising TEXT NOT NULL, 
	moved TEXT NOT NULL, 
	at_s DOUBLE NOT NULL, 
	utc_ms BIGINT NOT NULL, 
	lifter TEXT NOT NULL, 
	"key" TEXT NOT NULL, 
	about TEXT NOT NULL, 
	state TEXT NOT NULL, 
	who TEXT NOT NULL, 
	PRIMARY KEY (raising, moved, at_s)
);
INSERT INTO "alarms" VALUES('dock-6/B/losing_vacuum/17','raised',1764019210.5,1764019210500,'dock-6','losing_vacuum','B','unacknowledged','');
CREATE TABLE journal (
	id INTEGER NOT NULL, 
	now_s DOUBLE NOT NULL, 
	kind TEXT NOT NULL, 
	lifter TEXT NOT NULL, 
	payload BLOB NOT NULL, 
	PRIMARY KEY (id)
);
INSERT INTO "journal" VALUES(1,1764019205.0,'reading','dock-6',X'7B226369726375697473223A7B2241223A7B2276616375756D5F6B7061223A36332E347D7D2C226C6F61645F6B67223A3630302E307D');
INSERT INTO "journal" VALUES(2,1764019206.0,'action','dock-6',X'7B226964223A226131222C226B696E64223A2273757266616365222C226C6966746572223A22646F636B2D36222C2277686F223A227468652073757065727669736F72222C22726F6C65223A2273757065727669736F72222C22706172616D73223A7B2273757266616365223A22776574227D7D');
CREATE TABLE lifts (
	n INTEGER NOT NULL, 
	id TEXT NOT NULL, 
	site TEXT NOT NULL, 
	lifter TEXT NOT NULL, 
	opened_utc_ms BIGINT NOT NULL, 
	closed_utc_ms BIGINT NOT NULL, 
	opened_now_s DOUBLE NOT NULL, 
	closed_now_s DOUBLE NOT NULL, 
	schema INTEGER NOT NULL, 
	record TEXT, 
	prev_hash TEXT NOT NULL, 
	hash TEXT NOT NULL, 
	PRIMARY KEY (n), 
	UNIQUE (id)
);
INSERT INTO "lifts" VALUES(1,'dock-6-1','quayside','dock-6',1764020200000,1764020440000,1764020200.0,1764020440.0,1,'{"site":"quayside","lifter_name":"dock-6","time_zone":"UTC","version":1,"id":"dock-6-1","lifter":"dock-6","opened":1764020200.0,"closed":1764020440.0,"ended":"released","circuits":{"A":{"lowest_kpa":58.4}},"landing_s":55.0}','0000000000000000000000000000000000000000000000000000000000000000','bfc284feb1402f0470ff61090868463768df77aeca4d4d5ebf56e39628811632');
INSERT INTO "lifts" VALUES(2,'dock-6-2','quayside','dock-6',1764021200000,1764021440000,1764021200.0,1764021440.0,1,'{"site":"quayside","lifter_name":"dock-6","time_zone":"UTC","version":1,"id":"dock-6-2","lifter":"dock-6","opened":1764021200.0,"closed":1764021440.0,"ended":"released","circuits":{"A":{"lowest_kpa":58.4}},"landing_s":55.0}','bfc284feb1402f0470ff61090868463768df77aeca4d4d5ebf56e39628811632','ee558f5f760a2a09027d58bf52839690183026e5ca638c5f27daae9f00b43d7a');
CREATE TABLE meta (
	"key" TEXT NOT NULL, 
	value TEXT NOT NULL, 
	PRIMARY KEY ("key")
);
INSERT INTO "meta" VALUES('schema','1');
CREATE TABLE settings (
	sha256 TEXT NOT NULL, 
	text TEXT NOT NULL, 
	PRIMARY KEY (sha256)
);
INSERT INTO "settings" VALUES('abababababababababababababababababababababababababababababababab','site = "quayside"');
CREATE TABLE settings_used (
	utc_ms BIGINT NOT NULL, 
	sha256 TEXT NOT NULL, 
	name TEXT NOT NULL, 
	program TEXT NOT NULL, 
	PRIMARY KEY (utc_ms)
);
INSERT INTO "settings_used" VALUES(1764019200000,'abababababababababababababababababababababababababababababababab','site.toml','0.1.0');
CREATE TABLE snapshots (
	journal_id INTEGER NOT NULL, 
	now_s DOUBLE NOT NULL, 
	utc_minus_now_s DOUBLE NOT NULL, 
	keep_since_s DOUBLE NOT NULL, 
	version TEXT NOT NULL, 
	blob BLOB NOT NULL, 
	PRIMARY KEY (journal_id)
);
INSERT INTO "snapshots" VALUES(2,1764019211.0,0.25,1764019205.0,'1',X'7374617465');
CREATE TABLE traces (
	lift TEXT NOT NULL, 
	path TEXT, 
	sha256 TEXT, 
	rows_n BIGINT NOT NULL, 
	bytes_n BIGINT NOT NULL, 
	error TEXT, 
	PRIMARY KEY (lift)
);
INSERT INTO "traces" VALUES('dock-6-1',NULL,NULL,0,0,'let go after the time traces are kept');
INSERT INTO "traces" VALUES('dock-6-2',NULL,NULL,0,0,'let go after the time traces are kept');
CREATE INDEX ix_journal_now_s ON journal (now_s);
CREATE INDEX ix_actions_utc_ms ON actions (utc_ms);
CREATE INDEX ix_alarms_utc_ms ON alarms (utc_ms);
CREATE INDEX lifts_by_time ON lifts (opened_utc_ms);
CREATE INDEX lifts_by_lifter ON lifts (lifter, opened_utc_ms);
COMMIT;
