CREATE TABLE baytrim_blob (
    sha256 bytea NOT NULL,
    length bigint NOT NULL,
    upload bytea NOT NULL
);
CREATE TABLE baytrim_blob_part (
    upload bytea NOT NULL,
    number bigint NOT NULL,
    bytes bytea NOT NULL
);
CREATE TABLE baytrim_chunk (
    spool text NOT NULL COLLATE pg_catalog."C",
    number bigint NOT NULL,
    bytes bytea NOT NULL,
    append_id bytea NOT NULL,
    CONSTRAINT baytrim_chunk_number_check CHECK ((number >= 0))
);
CREATE TABLE baytrim_mark (
    id bytea NOT NULL
);
CREATE TABLE baytrim_record (
    stream text NOT NULL COLLATE pg_catalog."C",
    seq bigint NOT NULL,
    prev bytea NOT NULL,
    hash bytea NOT NULL,
    body bytea NOT NULL,
    append_id bytea NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT baytrim_record_seq_check CHECK ((seq >= 0))
);
CREATE TABLE baytrim_schema (
    version integer NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL
);
CREATE TABLE baytrim_snapshot (
    stream text NOT NULL COLLATE pg_catalog."C",
    name text NOT NULL COLLATE pg_catalog."C",
    at_seq bigint NOT NULL,
    at_hash bytea NOT NULL,
    bytes bytea NOT NULL
);
CREATE TABLE baytrim_upload (
    upload bytea NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL
);
INSERT INTO baytrim_blob VALUES ('\xe3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855', 0, '\x1ff899ba1859fc740c76f7badf32d0ff');
INSERT INTO baytrim_blob VALUES ('\xd8af90025d487f26eed214b2adf7fd89298fa2090d7405d356109f2317efaa4a', 12, '\x6c2c77acfc8507e4406abbbcdbf2f71f');
INSERT INTO baytrim_blob_part VALUES ('\x1ff899ba1859fc740c76f7badf32d0ff', 0, '\x');
INSERT INTO baytrim_blob_part VALUES ('\x6c2c77acfc8507e4406abbbcdbf2f71f', 0, '\x696e76656e746564206c6f67');
INSERT INTO baytrim_chunk VALUES ('live/p-1', 0, '\x6368756e6b', '\x5074c52f0827e9013c0242ec8593701c');
INSERT INTO baytrim_chunk VALUES ('live/p-1', 1, '\x6368756e6b', '\x5735113fadd34be8c37c495509bc6d6c');
INSERT INTO baytrim_record VALUES ('job/j-1', 0, '\x0000000000000000000000000000000000000000000000000000000000000000', '\x2f2e16eb5f14449dd0bc83b105789732b6a98e90ae60df390a667bfd500d29fb', '\x6f6e65', '\x13065cd98f4ee47527cce08f7dc44713', '2026-11-26 12:12:32.048565+00');
INSERT INTO baytrim_record VALUES ('job/j-1', 1, '\x2f2e16eb5f14449dd0bc83b105789732b6a98e90ae60df390a667bfd500d29fb', '\x67c8a1bf018f490db7547e7095849ed440e14109f0583e4de1bcb0b7572ed44b', '\x', '\x13065cd98f4ee47527cce08f7dc44713', '2026-11-26 12:12:32.048565+00');
INSERT INTO baytrim_record VALUES ('job/j-1', 2, '\x67c8a1bf018f490db7547e7095849ed440e14109f0583e4de1bcb0b7572ed44b', '\x742b125876fe8145d03dcd4c5b78287d4fc844553a11aed24a711513d20ae8c7', '\x000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f202122232425262728292a2b2c2d2e2f303132333435363738393a3b3c3d3e3f404142434445464748494a4b4c4d4e4f505152535455565758595a5b5c5d5e5f606162636465666768696a6b6c6d6e6f707172737475767778797a7b7c7d7e7f808182838485868788898a8b8c8d8e8f909192939495969798999a9b9c9d9e9fa0a1a2a3a4a5a6a7a8a9aaabacadaeafb0b1b2b3b4b5b6b7b8b9babbbcbdbebfc0c1c2c3c4c5c6c7c8c9cacbcccdcecfd0d1d2d3d4d5d6d7d8d9dadbdcdddedfe0e1e2e3e4e5e6e7e8e9eaebecedeeeff0f1f2f3f4f5f6f7f8f9fafbfcfdfeff', '\x13065cd98f4ee47527cce08f7dc44713', '2026-11-26 12:12:32.048565+00');
INSERT INTO baytrim_record VALUES ('shop', 0, '\x0000000000000000000000000000000000000000000000000000000000000000', '\x0a72bd7cf6fee80c3fcf1c4354a3e14307af876558998cdf538edb85770d769e', '\x6f6e65', '\xe03dc442dbce0f0a4605f15a6d75f93e', '2026-11-26 12:12:32.051131+00');
INSERT INTO baytrim_schema VALUES (1, '2026-11-26 12:12:31.931988+00');
ALTER TABLE ONLY baytrim_blob_part
    ADD CONSTRAINT baytrim_blob_part_pkey PRIMARY KEY (upload, number);
ALTER TABLE ONLY baytrim_blob
    ADD CONSTRAINT baytrim_blob_pkey PRIMARY KEY (sha256);
ALTER TABLE ONLY baytrim_chunk
    ADD CONSTRAINT baytrim_chunk_pkey PRIMARY KEY (spool, number);
ALTER TABLE ONLY baytrim_mark
    ADD CONSTRAINT baytrim_mark_pkey PRIMARY KEY (id);
ALTER TABLE ONLY baytrim_record
    ADD CONSTRAINT baytrim_record_pkey PRIMARY KEY (stream, seq);
ALTER TABLE ONLY baytrim_schema
    ADD CONSTRAINT baytrim_schema_pkey PRIMARY KEY (version);
ALTER TABLE ONLY baytrim_snapshot
    ADD CONSTRAINT baytrim_snapshot_pkey PRIMARY KEY (stream, name);
ALTER TABLE ONLY baytrim_upload
    ADD CONSTRAINT baytrim_upload_pkey PRIMARY KEY (upload);
CREATE INDEX baytrim_record_first ON baytrim_record USING btree (stream) WHERE (seq = 0);
