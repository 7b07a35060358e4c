-- +goose Up
-- Which of several runners folds a stream, and until when it does unless it says so again, in seconds since 1970 by this database's clock.
create table lease (
  stream text collate "C" not null primary key,
  holder text collate "C" not null,
  until  double precision not null
);
