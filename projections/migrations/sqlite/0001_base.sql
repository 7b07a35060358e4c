-- +goose Up
create table checkpoint (
  stream   text not null primary key,
  version  text not null,
  created  text not null,
  sequence bigint not null,
  digest   text not null
);

create table stopped (
  stream   text not null,
  company  text not null,
  job      text not null,
  sequence bigint not null,
  type     text not null,
  reason   text not null,
  primary key (stream, company, job)
);

-- Events of the stream ROOF as they are in the log. An id is unique in a job by the rules of the log; the index does not insist, because
-- an event that breaks a rule must be seen here too.
create table record (
  company         text not null,
  job             text not null,
  sequence        bigint not null,
  id              text not null,
  type            text not null,
  happened        text not null,
  happened_said   text not null,
  recorded        text not null,
  reporter        text not null,
  source          text not null,
  about           text not null,
  data            blob not null,
  digest          text not null,
  prev            text not null,
  primary key (company, job, sequence)
);
create index record_id on record (company, job, id);

-- The same for the stream SKY.
create table sky_record (
  company         text not null,
  job             text not null,
  sequence        bigint not null,
  id              text not null,
  type            text not null,
  happened        text not null,
  happened_said   text not null,
  recorded        text not null,
  reporter        text not null,
  source          text not null,
  about           text not null,
  data            blob not null,
  digest          text not null,
  prev            text not null,
  primary key (company, job, sequence)
);
create index sky_record_id on sky_record (company, job, id);
