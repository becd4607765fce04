-- The endless limits keep each step a co-routine: one row is finished before the next is begun, and nothing is
-- worked out twice or stored between the steps. USED_ and REACHED_ stand for the pieces beside this file.
create table answer as
with
  started as (
    select ir.item, ir.rule, coalesce(ir.last_at + 1, -9000000000) as since, s.cutoff,
           case r.life when 1 then i.made when 2 then i.entered else coalesce(ir.last_on, i.entered) end as base,
           r.every, r.meter_a, r.limit_a, r.meter_b, r.limit_b, r.within
    from item_rule ir join item i on i.id = ir.item join station s on s.id = i.station join rule r on r.id = ir.rule
    limit -1 offset 0
  ),
  used as (
    select *, case when meter_a is not null then USED_A end as used_a,
              case when meter_b is not null then USED_B end as used_b
    from started
    limit -1 offset 0
  ),
  dated as (
    select *, date(base, every, 'floor') as calendar_due,
           case when used_a >= limit_a then date(REACHED_A * 86400, 'unixepoch') end as reached_a,
           case when used_b >= limit_b then date(REACHED_B * 86400, 'unixepoch') end as reached_b,
           case when within is not null then
             date((select e.day from bears b join use_row e on e.log = b.host * 8 + 4
                     and e.at >= max(b.from_at, since) and e.at < min(b.to_at, cutoff)
                   where b.item = used.item order by e.at limit 1) * 86400, 'unixepoch', within)
           end as after_due
    from used
    limit -1 offset 0
  )
select item, rule, calendar_due, after_due,
       case when second then meter_b else meter_a end as meter,
       case when second then used_b else used_a end as used,
       case when second then reached_b else reached_a end as usage_due,
       nullif(min(coalesce(calendar_due, '9999'), coalesce(after_due, '9999'),
                  coalesce(case when second then reached_b else reached_a end, '9999')), '9999') as due_on
from (select *, reached_b is not null and (reached_a is null or reached_b < reached_a) as second from dated)
