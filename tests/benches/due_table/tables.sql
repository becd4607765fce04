create table station(id integer primary key, cutoff integer not null);
create table item(id integer primary key, station integer not null, made text not null, entered text not null);
create table rule(id integer primary key, life integer not null, every text,
                  meter_a integer, limit_a integer, meter_b integer, limit_b integer, within text);
-- The last work that counts is kept beside each item and rule.
create table item_rule(id integer primary key, item integer not null, rule integer not null,
                       last_at integer, last_on text);
-- A log is one meter on one host: host * 8 + meter.
create table use_row(log integer not null, at integer not null, nr integer not null, amount integer not null,
                     total integer not null, day integer not null, primary key (log, at, nr)) without rowid;
create table fitting(item integer not null, host integer not null, from_at integer not null, to_at integer not null);
-- Fittings link by link: a shackle bears what the carriage under its fall bears.
create table bears(item integer not null, host integer not null, from_at integer not null, to_at integer not null,
                   primary key (item, from_at, host)) without rowid;
