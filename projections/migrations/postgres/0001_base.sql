-- +goose Up
create table checkpoint (
  stream   text collate "C" not null primary key,
  version  text collate "C" not null,
  created  text collate "C" not null,
  sequence bigint not null,
  digest   text collate "C" not null
);

create table stopped (
  stream   text collate "C" not null,
  company  text collate "C" not null,
  job      text collate "C" not null,
  sequence bigint not null,
  type     text collate "C" not null,
  reason   text collate "C" not null,
  primary key (stream, company, job)
);

-- Events of the stream ROOF as they are in the log. An id is unique in a job by the rules of the log; the index does not insist, because
-- an event that breaks a rule must be seen here too.
create table record (
  company         text collate "C" not null,
  job             text collate "C" not null,
  sequence        bigint not null,
  id              text collate "C" not null,
  type            text collate "C" not null,
  happened        text collate "C" not null,
  happened_said   text collate "C" not null,
  recorded        text collate "C" not null,
  reporter        text collate "C" not null,
  source          text collate "C" not null,
  about           text collate "C" not null,
  data            bytea not null,
  digest          text collate "C" not null,
  prev            text collate "C" not null,
  primary key (company, job, sequence)
);
create index record_id on record (company, job, id);

-- The same for the stream SKY.
create table sky_record (
  company         text collate "C" not null,
  job             text collate "C" not null,
  sequence        bigint not null,
  id              text collate "C" not null,
  type            text collate "C" not null,
  happened        text collate "C" not null,
  happened_said   text collate "C" not null,
  recorded        text collate "C" not null,
  reporter        text collate "C" not null,
  source          text collate "C" not null,
  about           text collate "C" not null,
  data            bytea not null,
  digest          text collate "C" not null,
  prev            text collate "C" not null,
  primary key (company, job, sequence)
);
create index sky_record_id on sky_record (company, job, id);
