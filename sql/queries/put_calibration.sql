-- $1 evaluation, $2 batch, $3 run, $4 analyte, $5 accepted, $6 digest, $7 body
insert into core.calibration (evaluation, batch, run, analyte, accepted, digest, body) values ($1, $2, $3, $4, $5, $6, $7)
