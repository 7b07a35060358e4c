-- +goose Up
create table board (
  company  text collate "C" not null,
  job      text collate "C" not null,
  position bigint not null,
  doc      text collate "C" not null,
  primary key (company, job, position)
);

create table ledger (
  company  text collate "C" not null,
  job      text collate "C" not null,
  position bigint not null,
  doc      text collate "C" not null,
  primary key (company, job, position)
);

create table oddities (
  company  text collate "C" not null,
  job      text collate "C" not null,
  position bigint not null,
  doc      text collate "C" not null,
  primary key (company, job, position)
);

create table moves (
  company  text collate "C" not null,
  job      text collate "C" not null,
  position bigint not null,
  doc      text collate "C" not null,
  primary key (company, job, position)
);

create table exposure (
  company  text collate "C" not null,
  job      text collate "C" not null,
  position bigint not null,
  doc      text collate "C" not null,
  primary key (company, job, position)
);

create table punch (
  company  text collate "C" not null,
  job      text collate "C" not null,
  position bigint not null,
  doc      text collate "C" not null,
  primary key (company, job, position)
);

create table checklist (
  company  text collate "C" not null,
  job      text collate "C" not null,
  position bigint not null,
  doc      text collate "C" not null,
  primary key (company, job, position)
);

create table photo (
  company text collate "C" not null,
  job     text collate "C" not null,
  report  text collate "C" not null,
  digest  text collate "C" not null,
  primary key (company, job, report, digest)
);
create index photo_digest on photo (company, digest);
