(select day from (select e.day, e.at, e.nr, sum(e.amount) over (order by e.at, e.nr) as running
                  from bears b join use_row e on e.log = b.host * 8 + METER
                    and e.at >= max(b.from_at, since) and e.at < min(b.to_at, cutoff)
                  where b.item = used.item)
 where running >= LIMIT order by at, nr limit 1)
