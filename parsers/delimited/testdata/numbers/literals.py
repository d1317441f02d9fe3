"""Makes literals.tsv: literals of number cells and what a reader by profile must make of
them, worked out apart from the reader, by grammar and by exact fractions.

    python3 literals.py > literals.tsv

Columns: the literal as a JSON string, then for each pair of marks the double as a
hexadecimal literal, or "refuse". Pairs: decimal mark and group mark.
"""
import json
import re
from fractions import Fraction

PAIRS = [(".", ""), (".", ","), (",", ""), (",", "."), (",", "\u00a0"), (".", "'")]


def value(text, decimal, group):
    text = text.strip()
    g = re.escape(group)
    whole = r"\d+" if not group else r"(?:\d{1,3}(?:%s\d{3})+|\d+)" % g
    d = re.escape(decimal)
    m = re.fullmatch(r"([+-]?)(?:(%s)(?:%s(\d*))?|%s(\d+))(?:[eE]([+-]?\d+))?" % (whole, d, d), text, re.ASCII)
    if not m:
        return "refuse"
    sign, before, after, only, exponent = m.groups()
    digits = (before or "").replace(group, "") if group else (before or "")
    fraction = (after or "") + (only or "")
    mantissa = int((digits + fraction) or "0")
    power = int(exponent or "0") - len(fraction)
    if mantissa == 0:
        return "-0x0p+0" if sign == "-" else "0x0p+0"
    if power + len(str(mantissa)) > 400 or power + len(str(mantissa)) < -400:
        return "refuse"
    exact = Fraction(mantissa) * (Fraction(10) ** power)
    try:
        f = exact.numerator / exact.denominator  # true division of whole numbers rounds once
    except OverflowError:
        return "refuse"
    if f == 0:
        return "refuse"
    return ("-" if sign == "-" else "") + f.hex()


def literals():
    out = ["0", "-0", "+0", "0.0", "-0.0", "00", "007", "1", "-1", "+1", "1.", ".5", "-.5", "+.5", ".", "-", "+", "", " ", "1 ", " 1", "\t1", "1\u00a0",
           "\u00a01", "1 2", "1-2", "--1", "+-1", "1+", "- 1", "1.5", "1,5", "1.5.5", "1,5,5", "1.5,5", "1,5.5", "0.1", "0,1", "0.1e1", "0,1e1",
           "1e5", "1E5", "1e+5", "1e-5", "1e", "e5", "1e5.5", "1e5,5", "1ee5", "1e+-5", "1e 5", "1 e5", "1e05", "1e0005", "1x10^5", "1*10^5", "1.5E+03", "1,5E+03",
           "1_000", "1_0.5", "0x10", "0x1p-2", "0b11", "0o17", "1h", "1f", "1d", "1L", "1%", "50 %", "$1", "1 mg", "1mg/L", "NaN", "nan", "-NaN", "Inf", "-Inf",
           "inf", "+infinity", "Infinity", "1.#INF", "1.#QNAN", "#N/A", "#DIV/0!", "#####", "null", "NULL", "None", "true", "n.d.", "<0.05", "< 0.05", ">100", "~5", "±5",
           "5±1", "1/2", "½", "²", "１", "١", "१", "1\u2009000", "1\u202f000", "1'000", "1\u2019000", "1 000", "−1", "–1", "1e−5", "1·5", "1:30", "12:30:00", "9.10", "2026-03-02",
           "1,234", "1.234", "1,234.5", "1.234,5", "1,234,567", "1.234.567", "1,234,567.89", "1.234.567,89", "12,34", "12.34", "1,23,456", "1.23.456", "1234,567", "1234.567",
           ",234", ".234", "1,,234", "1..234", "1,234,", "1.234.", "123,456", "123.456", "-1,234.5", "-1.234,5", "+1,234", "0,234", "0.234", "000,123", "1,2345", "1.2345",
           "1,234e3", "1.234e3", "1.234,5e-2", "1,234.5e-2", "1.5,000", "1,5.000", "1\u00a0234", "1\u00a0234,5", "12\u00a0345\u00a0678,9", "1\u00a023", "1'234.5", "1'234'567", "1'23", "'123",
           "9.99", "9,99", "68,83", "68.83", "0.435", "0,435", "1e308", "1.7976931348623157e308", "1.7976931348623158e308", "1.7976931348623159e308", "1.8e308", "1e309", "-1e309",
           "1e-307", "2.2250738585072014e-308", "2.2250738585072011e-308", "4.9e-324", "5e-324", "2.5e-324", "2.4703282292062328e-324", "2.4703282292062327e-324", "1e-400", "0e-400",
           "0e999999999999", "1e999999999999", "1e-999999999999", "16777217", "9007199254740991", "9007199254740992", "9007199254740993", "9007199254740993.0000000001",
           "999999999999999", "0.999999999999999", "123456789012345.6", "1234567890.12345", "12345678901234567890", "123456789012345678901234567890", "0.1234567890123456789",
           "0.30000000000000004", "0.3", "0.7", "4.35", "2.675", "1.005", "8.41", "100.0", "1000000", "3.14159265358979", "3.141592653589793238462643383279502884197",
           "0.000001", "0.00000000000000000000001", "1.0000000000000000000000000000000000000000000000001", "100000000000000000000000", "4503599627370496.5", "4503599627370497.5",
           "0" * 30 + "1", "0." + "0" * 40 + "1", "1" + "0" * 40, "1" * 400, "." + "0" * 350 + "1", "6.02214076e23", "6,02214076e23", "1.602176634e-19", "-273.15", "-273,15"]
    for digits in ("1234567", "98765432", "100000000000001", "7"):
        for places in (0, 1, 3, 5):
            whole, part = digits[:len(digits) - places] or "0", digits[len(digits) - places:] if places else ""
            for mark in ".,":
                out.append(whole + mark + part if part else whole)
    return list(dict.fromkeys(out))


print("\t".join(["literal"] + ["decimal %r group %r" % p for p in PAIRS]))
for text in literals():
    print("\t".join([json.dumps(text)] + [value(text, *p) for p in PAIRS]))
