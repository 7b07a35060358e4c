-- Run once as the administrator: psql -v password=... -f roles.sql
-- The program makes and changes its own tables when a release needs it, so it owns its
-- database and nothing else.
create role bydark login password :'password' nosuperuser nocreatedb nocreaterole noreplication nobypassrls;
create database bydark owner bydark;
revoke all on database bydark from public;
\connect bydark
revoke create on schema public from public;
grant create, usage on schema public to bydark;
