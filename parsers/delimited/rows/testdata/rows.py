"""Splits delimited texts with the csv module of Python's standard library.

Standard input: a JSON list of {"text": …, "delimiter": …, "quoted": true or false}.
Standard output: a JSON list, for each text its rows or {"error": message}.
"""
import csv
import io
import json
import sys

out = []
for job in json.load(sys.stdin):
    quoting = csv.QUOTE_MINIMAL if job["quoted"] else csv.QUOTE_NONE
    try:
        rows = csv.reader(io.StringIO(job["text"], newline=""), delimiter=job["delimiter"], quoting=quoting, strict=True)
        out.append([row for row in rows if row])
    except csv.Error as error:
        out.append({"error": str(error)})
json.dump(out, sys.stdout)
