"""Reads mzML files with pymzml and writes what it finds, one JSON object a line.

Numbers are written as text, since JSON has no NaN.
"""
import json
import sys
import warnings

warnings.simplefilter("ignore")
import pymzml.run  # noqa: E402
import pymzml.spec  # noqa: E402


def summary(x, y):
    return {
        "points": len(x),
        "first": repr(float(x[0])) if len(x) else None,
        "last": repr(float(x[-1])) if len(x) else None,
        "sum": repr(sum(float(v) for v in y)),
    }


def signal(s):
    if isinstance(s, pymzml.spec.Chromatogram):
        return dict(summary(s.time, s.i), kind="chromatogram", id=str(s.ID))
    out = dict(summary(s.mz, s.i), kind="spectrum", id=str(s.id_dict or s.ID), level=s.ms_level)
    try:
        out["time_s"] = repr(float(s.scan_time_in_minutes()) * 60)
    except Exception:
        out["time_s"] = None
    return out


for path in sys.argv[1:]:
    found = {"signals": [], "error": None}
    try:
        for s in pymzml.run.Reader(path, skip_chromatogram=False):
            try:
                found["signals"].append(signal(s))
            except Exception as e:
                kind = "chromatogram" if isinstance(s, pymzml.spec.Chromatogram) else "spectrum"
                found["signals"].append({"kind": kind, "error": f"{type(e).__name__}: {e}"})
    except BaseException as e:
        found["error"] = f"{type(e).__name__}: {e}"
    print(json.dumps(found), flush=True)
