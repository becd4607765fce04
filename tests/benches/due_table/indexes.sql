create index fitting_of_item on fitting(item, host, from_at, to_at);
insert into bears
    select item, host, from_at, to_at from fitting
    union all
    select lower.item, upper.host, max(lower.from_at, upper.from_at), min(lower.to_at, upper.to_at)
    from fitting lower join fitting upper on upper.item = lower.host
    where max(lower.from_at, upper.from_at) < min(lower.to_at, upper.to_at)
    order by 1, 3;
create index use_by_total on use_row(log, total, day);
analyze;
