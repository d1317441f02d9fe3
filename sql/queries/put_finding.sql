-- $1 evaluation, $2 batch, $3 code, $4 subject, $5 text
insert into core.finding (evaluation, batch, code, subject, text) values ($1, $2, $3, $4, $5)
