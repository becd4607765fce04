(select day
 from (select day, from_at, at, nr, sum(amount) over (order by from_at, host, at, nr rows unbounded preceding) as running
       from (select b.from_at, b.host, e.day, e.at, e.nr, e.amount
             from bears b join use_row e on e.log = b.host * 8 + METER
               and e.at >= max(b.from_at, since) and e.at < min(b.to_at, cutoff)
             where b.item = used.item order by b.from_at, b.host, e.at, e.nr limit -1 offset 0))
 where running >= LIMIT order by from_at, at, nr limit 1)
