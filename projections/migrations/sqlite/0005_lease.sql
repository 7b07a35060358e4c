-- +goose Up
-- As on PostgreSQL. A SQLite file is one process's, which needs no lease: the table stays empty.
create table lease (
  stream text not null primary key,
  holder text not null,
  until  double precision not null
);
