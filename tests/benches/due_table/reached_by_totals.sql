(select (select e.day from use_row e
         where e.log = part.log and e.total >= part.high + LIMIT - part.upto order by e.total limit 1)
 from (select log, high, from_at, sum(high - low) over (order by from_at rows unbounded preceding) as upto
       from (select b.host * 8 + METER as log, b.from_at,
               coalesce((select e.total from use_row e where e.log = b.host * 8 + METER
                           and e.at < max(b.from_at, since) order by e.at desc, e.nr desc limit 1), 0) as low,
               coalesce((select e.total from use_row e where e.log = b.host * 8 + METER
                           and e.at < min(b.to_at, cutoff) order by e.at desc, e.nr desc limit 1), 0) as high
             from bears b where b.item = used.item and max(b.from_at, since) < min(b.to_at, cutoff)
             order by b.from_at limit -1 offset 0)) part
 where part.upto >= LIMIT order by part.from_at limit 1)
