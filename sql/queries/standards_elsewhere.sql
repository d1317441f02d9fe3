-- $1 list name, $2 standard[]
select s.standard, d.name from core.standard s join core.document d on d.id = s.document
where s.current and d.name <> $1 and s.standard = any($2::text[]) order by s.standard
