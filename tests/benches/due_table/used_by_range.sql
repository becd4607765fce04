(select coalesce(sum(e.amount), 0)
 from bears b join use_row e on e.log = b.host * 8 + METER
   and e.at >= max(b.from_at, since) and e.at < min(b.to_at, cutoff)
 where b.item = started.item)
