(select coalesce(sum(
   coalesce((select e.total from use_row e where e.log = b.host * 8 + METER and e.at < min(b.to_at, cutoff)
             order by e.at desc, e.nr desc limit 1), 0)
 - coalesce((select e.total from use_row e where e.log = b.host * 8 + METER and e.at < max(b.from_at, since)
             order by e.at desc, e.nr desc limit 1), 0)), 0)
 from bears b where b.item = started.item and max(b.from_at, since) < min(b.to_at, cutoff))
