-- $1 batch
select analyte, digest, id from core.calibration where batch = $1 and current
