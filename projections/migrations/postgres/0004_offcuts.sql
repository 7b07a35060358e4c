-- +goose Up
create table offcuts (
  company  text not null,
  job      text not null,
  position bigint not null,
  doc      text not null,
  primary key (company, job, position)
);
