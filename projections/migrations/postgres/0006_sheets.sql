-- +goose Up
-- The record keeps runs of a job's events in sheets, each under the sequence of its first event.
drop table record;
create table record (
  company text collate "C" not null,
  job     text collate "C" not null,
  first   bigint not null,
  events  bytea not null,
  primary key (company, job, first)
);

-- Where an event of the record may be, by the key of its id: others may have the same key.
create table record_ids (
  key      bigint not null,
  sequence bigint not null,
  job      text collate "C" not null,
  primary key (key, sequence)
);

-- The same for the stream SKY, in which nothing is looked for by its id.
drop table sky_record;
create table sky_record (
  company text collate "C" not null,
  job     text collate "C" not null,
  first   bigint not null,
  events  bytea not null,
  primary key (company, job, first)
);

-- Sheets are compressed already.
alter table record alter column events set storage external;
alter table sky_record alter column events set storage external;
