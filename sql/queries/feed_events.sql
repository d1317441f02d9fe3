select seq, ordinal, cursor, event, result, revision, previous_revision, sample, batch, analyte, basis, value, reason from lims.feed order by seq, ordinal
