select result, revision, sample, batch, analyte, basis, value, reported, unit, censored, coalesce(notices, '[]'::jsonb), authoriser
from lims.released_result order by sample, batch, analyte, basis
