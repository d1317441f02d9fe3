-- $1 register name, $2 sample[]: samples that another register holds
select s.sample, d.name from core.sample s join core.document d on d.id = s.document
where s.current and d.name <> $1 and s.sample = any($2::text[]) order by s.sample
