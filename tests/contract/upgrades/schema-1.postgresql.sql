BEGIN;
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
CREATE INDEX ix_actions_utc_ms ON actions (utc_ms);
INSERT INTO actions (id, utc_ms, lifter, kind, who, role, body, journal_id) VALUES ('a1', 1764019206000, 'dock-6', 'surface', 'the supervisor', 'supervisor', '{"id":"a1","kind":"surface","lifter":"dock-6","who":"the supervisor","role":"supervisor","params":{"surface":"wet"},"utc_s":1764019206.0}', 2);
INSERT INTO actions (id, utc_ms, lifter, kind, who, role, body, journal_id) VALUES ('a2', 1764019207000, 'dock-6', 'service_note', 'maintenance', 'maintenance', '{"id":"a2","kind":"service_note","lifter":"dock-6","who":"maintenance","role":"maintenance","params":{"note":"new seal"},"utc_s":1764019207.0}', NULL);
CREATE TABLE alarms (
	raising TEXT NOT NULL,
	moved TEXT NOT NULL,
	at_s DOUBLE PRECISION NOT NULL,
	utc_ms BIGINT NOT NULL,
	lifter TEXT NOT NULL,
	key TEXT NOT NULL,
	about TEXT NOT NULL,
	state TEXT NOT NULL,
	who TEXT NOT NULL,
	PRIMARY KEY (raising, moved, at_s)
);
CREATE INDEX ix_alarms_utc_ms ON alarms (utc_ms);
INSERT INTO alarms (raising, moved, at_s, utc_ms, lifter, key, about, state, who) VALUES ('dock-6/B/losing_vacuum/17', 'raised', 1764019210.5, 1764019210500, 'dock-6', 'losing_vacuum', 'B', 'unacknowledged', '');
CREATE TABLE journal (
	id BIGINT NOT NULL,
	now_s DOUBLE PRECISION NOT NULL,
	kind TEXT NOT NULL,
	lifter TEXT NOT NULL,
	payload BYTEA NOT NULL,
	PRIMARY KEY (id)
);
CREATE INDEX ix_journal_now_s ON journal (now_s);
INSERT INTO journal (id, now_s, kind, lifter, payload) VALUES (1, 1764019205.0, 'reading', 'dock-6', '\x7b226369726375697473223a7b2241223a7b2276616375756d5f6b7061223a36332e347d7d2c226c6f61645f6b67223a3630302e307d'::bytea);
INSERT INTO journal (id, now_s, kind, lifter, payload) VALUES (2, 1764019206.0, 'action', 'dock-6', '\x7b226964223a226131222c226b696e64223a2273757266616365222c226c6966746572223a22646f636b2d36222c2277686f223a227468652073757065727669736f72222c22726f6c65223a2273757065727669736f72222c22706172616d73223a7b2273757266616365223a22776574227d7d'::bytea);
CREATE TABLE lifts (
	n BIGINT NOT NULL,
	id TEXT NOT NULL,
	site TEXT NOT NULL,
	lifter TEXT NOT NULL,
	opened_utc_ms BIGINT NOT NULL,
	closed_utc_ms BIGINT NOT NULL,
	opened_now_s DOUBLE PRECISION NOT NULL,
	closed_now_s DOUBLE PRECISION NOT NULL,
	schema INTEGER NOT NULL,
	record TEXT,
	prev_hash TEXT NOT NULL,
	hash TEXT NOT NULL,
	PRIMARY KEY (n),
	UNIQUE (id)
);
CREATE INDEX lifts_by_lifter ON lifts (lifter, opened_utc_ms);
CREATE INDEX lifts_by_time ON lifts (opened_utc_ms);
INSERT INTO lifts (n, id, site, lifter, opened_utc_ms, closed_utc_ms, opened_now_s, closed_now_s, schema, record, prev_hash, hash) VALUES (1, 'dock-6-1', 'quayside', 'dock-6', 1764020200000, 1764020440000, 1764020200.0, 1764020440.0, 1, '{"site":"quayside","lifter_name":"dock-6","time_zone":"UTC","version":1,"id":"dock-6-1","lifter":"dock-6","opened":1764020200.0,"closed":1764020440.0,"ended":"released","circuits":{"A":{"lowest_kpa":58.4}},"landing_s":55.0}', '0000000000000000000000000000000000000000000000000000000000000000', 'bfc284feb1402f0470ff61090868463768df77aeca4d4d5ebf56e39628811632');
INSERT INTO lifts (n, id, site, lifter, opened_utc_ms, closed_utc_ms, opened_now_s, closed_now_s, schema, record, prev_hash, hash) VALUES (2, 'dock-6-2', 'quayside', 'dock-6', 1764021200000, 1764021440000, 1764021200.0, 1764021440.0, 1, '{"site":"quayside","lifter_name":"dock-6","time_zone":"UTC","version":1,"id":"dock-6-2","lifter":"dock-6","opened":1764021200.0,"closed":1764021440.0,"ended":"released","circuits":{"A":{"lowest_kpa":58.4}},"landing_s":55.0}', 'bfc284feb1402f0470ff61090868463768df77aeca4d4d5ebf56e39628811632', 'ee558f5f760a2a09027d58bf52839690183026e5ca638c5f27daae9f00b43d7a');
INSERT INTO lifts (n, id, site, lifter, opened_utc_ms, closed_utc_ms, opened_now_s, closed_now_s, schema, record, prev_hash, hash) VALUES (3, 'dock-6-3', 'quayside', 'dock-6', 1764019442220, 1764019752220, 1764019442.22, 1764019752.22, 1, '{"site":"quayside","lifter_name":"dock-6","time_zone":"UTC","version":1,"id":"dock-6-3","lifter":"dock-6","opened":1764019442.22,"load_on":1764019530.22,"load_off":1764019702.82,"closed":1764019752.22,"ended":"released","duration_s":310.0,"picks_n":1,"load":{"largest_kg":657.5,"planned_kg":null},"margin":{"lowest_kg":160.6,"at":1764019542.02,"governs":"friction"},"tilt":{"low_deg":89.5,"high_deg":90.6},"height_high_m":41.1,"wind_high_m_s":4.9,"battery_low_v":24.4,"temperature_c":14.0,"ambient_kpa":101.17,"circuits":{"A":{"lowest_kpa":63.3,"lowest_at":1764019627.62,"at_pick_kpa":64.3,"leak_kpa_per_min":0.061,"worst_leak_kpa_per_min":0.063,"states_s":{"building":7.8,"holding":300.2,"low":0.8,"open":1.2},"pump_on_s":13.4,"seen_s":310.0,"steady_leak_kpa_per_min":0.0611,"steady_at_kpa":63.83,"steady_s":172.6,"pump_down_s":7.8,"duty_first_ratio":null,"duty_last_ratio":null,"open_kpa":0.1,"gauges_apart_kpa":null,"late_n":0,"late_lowest_kpa":null,"late_lowest_at":null,"warning_kpa":52.0},"B":{"lowest_kpa":60.6,"lowest_at":1764019700.22,"at_pick_kpa":64.1,"leak_kpa_per_min":2.758,"worst_leak_kpa_per_min":2.758,"states_s":{"building":7.3,"holding":148.7,"losing":152.0,"low":0.4,"open":1.6},"pump_on_s":12.8,"seen_s":310.0,"steady_leak_kpa_per_min":1.0168,"steady_at_kpa":62.65,"steady_s":172.6,"pump_down_s":7.2,"duty_first_ratio":null,"duty_last_ratio":null,"open_kpa":0.2,"gauges_apart_kpa":null,"late_n":0,"late_lowest_kpa":null,"late_lowest_at":null,"warning_kpa":52.0}},"calls_s":{"look":69.6,"holding":135.8,"land_soon":1.3,"land_now":103.1,"not_lifting":0.2},"worst_call":"land_now","worst_call_reason":"reason.early_under_landing","alarms":[{"raising":"dock-6/B/losing_vacuum/1","key":"losing_vacuum","about":"B","priority":"high","raised":1764019599.42,"returned":null,"acknowledged":null,"acknowledged_by":null},{"raising":"dock-6/B/reserve_short/2","key":"reserve_short","about":"B","priority":"medium","raised":1764019601.02,"returned":null,"acknowledged":null,"acknowledged_by":null},{"raising":"dock-6/B/pump_not_starting/3","key":"pump_not_starting","about":"B","priority":"medium","raised":1764019743.82,"returned":null,"acknowledged":null,"acknowledged_by":null}],"actions":[{"kind":"service_note","who":"the technician","role":"maintenance","at":1764019462.22,"params":{"about":"circuit B","note":"seal of B2 renewed"}}],"seen_s":310.0,"gap_s":0.0,"gaps_n":0,"gaps":[],"counts":{"live":2762,"doubled":0,"late":0,"retained":0,"rejected":0,"refused":0,"lost":0},"time_to_land_s":240.0,"landing_s":68.3,"settings":{"basis":"asme-bth-1","wll_kg":900.0,"surface":"dry","friction":0.5},"seal_tests":[{"test":"pre_pick","state":"passed","who":"the supervisor","role":"supervisor","asked":1764019452.22,"words":"Passed: every circuit has the reserve asked for, by these readings. The supervisor decides.","circuits":{"A":{"state":"passed","words":"Held: from 64.0 kPa to 62.1 kPa in 4 min, 3 % lost of 25 % allowed; above its warning level for 5 min."},"B":{"state":"passed","words":"Held: from 64.0 kPa to 62.1 kPa in 4 min, 3 % lost of 25 % allowed; above its warning level for 5 min."}}}],"plan":{"who":"the supervisor","role":"supervisor","at":1764019447.22,"weight_kg":650.0,"pads":["A1","A2","B1","B2"],"rated_kg":818.2,"governs":"friction","verdict":"within_limits"},"judged_by":"0.1.0","site_file_sha256":"b799c40b7023e72d34753fbf3f2e8df05afae704c4f85d30c3cd6cd05d8b7da4"}', 'ee558f5f760a2a09027d58bf52839690183026e5ca638c5f27daae9f00b43d7a', '3a52fed2dcbe5a8706d186415783740783ebe5aa69b8e3314ac5f18312000ced');
CREATE TABLE meta (
	key TEXT NOT NULL,
	value TEXT NOT NULL,
	PRIMARY KEY (key)
);
INSERT INTO meta (key, value) VALUES ('schema', '1');
CREATE TABLE settings (
	sha256 TEXT NOT NULL,
	text TEXT NOT NULL,
	PRIMARY KEY (sha256)
);
INSERT INTO settings (sha256, text) VALUES ('abababababababababababababababababababababababababababababababab', 'site = "quayside"');
CREATE TABLE settings_used (
	utc_ms BIGINT NOT NULL,
	sha256 TEXT NOT NULL,
	name TEXT NOT NULL,
	program TEXT NOT NULL,
	PRIMARY KEY (utc_ms)
);
INSERT INTO settings_used (utc_ms, sha256, name, program) VALUES (1764019200000, 'abababababababababababababababababababababababababababababababab', 'site.toml', '0.1.0');
CREATE TABLE snapshots (
	journal_id BIGINT NOT NULL,
	now_s DOUBLE PRECISION NOT NULL,
	utc_minus_now_s DOUBLE PRECISION NOT NULL,
	keep_since_s DOUBLE PRECISION NOT NULL,
	version TEXT NOT NULL,
	blob BYTEA NOT NULL,
	PRIMARY KEY (journal_id)
);
INSERT INTO snapshots (journal_id, now_s, utc_minus_now_s, keep_since_s, version, blob) VALUES (2, 1764019211.0, 0.25, 1764019205.0, '1', '\x7374617465'::bytea);
CREATE TABLE traces (
	lift TEXT NOT NULL,
	path TEXT,
	sha256 TEXT,
	rows_n BIGINT NOT NULL,
	bytes_n BIGINT NOT NULL,
	error TEXT,
	PRIMARY KEY (lift)
);
INSERT INTO traces (lift, path, sha256, rows_n, bytes_n, error) VALUES ('dock-6-1', NULL, NULL, 0, 0, 'let go after the time traces are kept');
INSERT INTO traces (lift, path, sha256, rows_n, bytes_n, error) VALUES ('dock-6-2', NULL, NULL, 0, 0, 'let go after the time traces are kept');
INSERT INTO traces (lift, path, sha256, rows_n, bytes_n, error) VALUES ('dock-6-3', NULL, NULL, 0, 0, 'let go after the time traces are kept');
COMMIT;
