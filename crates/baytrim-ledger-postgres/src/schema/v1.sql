-- Names are compared byte by byte, whatever the database's own language.
create table baytrim_record (
    stream text collate "C" not null,
    seq bigint not null check (seq >= 0),
    prev bytea not null,
    hash bytea not null,
    body bytea not null,
    append_id bytea not null,
    at timestamptz not null default now(),
    primary key (stream, seq)
);
-- One entry for each stream: what lists of streams read.
create index baytrim_record_first on baytrim_record (stream) where seq = 0;

create table baytrim_chunk (
    spool text collate "C" not null,
    number bigint not null check (number >= 0),
    bytes bytea not null,
    append_id bytea not null,
    primary key (spool, number)
);

create table baytrim_blob (
    sha256 bytea primary key,
    length bigint not null,
    upload bytea not null
);
create table baytrim_blob_part (
    upload bytea not null,
    number bigint not null,
    bytes bytea not null,
    primary key (upload, number)
);
create table baytrim_upload (
    upload bytea primary key,
    at timestamptz not null default now()
);

create table baytrim_snapshot (
    stream text collate "C" not null,
    name text collate "C" not null,
    at_seq bigint not null,
    at_hash bytea not null,
    bytes bytea not null,
    primary key (stream, name)
);

-- What is written here and waited for is durable, and so is all that was written before.
create table baytrim_mark (
    id bytea primary key
);
