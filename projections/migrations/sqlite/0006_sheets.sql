-- +goose Up
-- The record keeps runs of a job's events in sheets, each under the sequence of its first event.
drop table record;
create table record (
  company text not null,
  job     text not null,
  first   bigint not null,
  events  blob not null,
  primary key (company, job, first)
);

-- Where an event of the record may be, by the key of its id: others may have the same key.
create table record_ids (
  key      bigint not null,
  sequence bigint not null,
  job      text not null,
  primary key (key, sequence)
) without rowid;

-- The same for the stream SKY, in which nothing is looked for by its id.
drop table sky_record;
create table sky_record (
  company text not null,
  job     text not null,
  first   bigint not null,
  events  blob not null,
  primary key (company, job, first)
);
