-- $1 batch, $2 batch_version, $3 input, $4 output, $5 engine, $6 architecture
insert into core.evaluation (batch, number, batch_version, input, output, engine, architecture)
values ($1, 1 + coalesce((select max(number) from core.evaluation where batch = $1), 0), $2, $3, $4, $5, $6)
returning id, number
