-- $1 batch
select run || '/' || analyte, digest, id from core.calibration where batch = $1 and current
