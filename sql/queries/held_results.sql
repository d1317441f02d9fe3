select batch, sample, analyte, basis, coalesce(rule, ''), coalesce(verdict, ''), coalesce(reason, '')
from qa.held_result order by batch, sample, analyte, basis, rule, reason
