-- +goose Up
-- An id is looked for in all jobs of a company.
drop index record_id;
create index record_id on record (company, id);
