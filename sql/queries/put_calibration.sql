-- $1 evaluation, $2 batch, $3 analyte, $4 accepted, $5 digest, $6 body
insert into core.calibration (evaluation, batch, analyte, accepted, digest, body) values ($1, $2, $3, $4, $5, $6)
