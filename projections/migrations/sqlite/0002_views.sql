-- +goose Up
create table board (
  company  text not null,
  job      text not null,
  position bigint not null,
  doc      text not null,
  primary key (company, job, position)
);

create table ledger (
  company  text not null,
  job      text not null,
  position bigint not null,
  doc      text not null,
  primary key (company, job, position)
);

create table oddities (
  company  text not null,
  job      text not null,
  position bigint not null,
  doc      text not null,
  primary key (company, job, position)
);

create table moves (
  company  text not null,
  job      text not null,
  position bigint not null,
  doc      text not null,
  primary key (company, job, position)
);

create table exposure (
  company  text not null,
  job      text not null,
  position bigint not null,
  doc      text not null,
  primary key (company, job, position)
);

create table punch (
  company  text not null,
  job      text not null,
  position bigint not null,
  doc      text not null,
  primary key (company, job, position)
);

create table checklist (
  company  text not null,
  job      text not null,
  position bigint not null,
  doc      text not null,
  primary key (company, job, position)
);

create table photo (
  company text not null,
  job     text not null,
  report  text not null,
  digest  text not null,
  primary key (company, job, report, digest)
);
create index photo_digest on photo (company, digest);
