"""Writes tests/files/units.csv: readings in every unit of columns and what they are in that of samples.

Run once by hand; the file is committed beside SHA256SUMS.
    pip install pint==0.25.3
    python write_units.py ../files
Of pint, a library of units that shares nothing with ours, the definitions are those of NIST SP 811.
"""

import sys
from pathlib import Path

import pint

UNITS = {
    "rev_per_s": ("revolution / second", "revolution / minute", [0.0, 12.5, 150.0]),
    "rad_per_s": ("radian / second", "revolution / minute", [0.0, 12.5, 150.0]),
    "lbf_ft": ("lbf * foot", "newton * meter", [-3.0, 1.0, 450.0]),
    "fahrenheit": ("degF", "degC", [-40.0, 32.0, 98.6, 212.0]),
    "kelvin": ("kelvin", "degC", [233.15, 273.15, 373.15]),
    "mbar": ("millibar", "kPa", [850.0, 1013.25]),
    "bar": ("bar", "kPa", [0.3, 1.01325, 2.5]),
    "psi": ("psi", "kPa", [1.0, 14.696, 30.0]),
    "inhg": ("inHg", "kPa", [1.0, 29.92, 31.0]),
    "ratio": ("dimensionless", "percent", [-0.05, 0.25, 1.0]),
    "ms": ("millisecond", "second", [1.0, 1500.0]),
    "us": ("microsecond", "second", [1.0, 2.5e6]),
    "min": ("minute", "second", [0.5, 90.0]),
    "day": ("day", "second", [0.001, 2.0]),
}


def main():
    units = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    rows = ["unit,value,converted"]
    for name, (source, target, values) in UNITS.items():
        for value in values:
            converted = units.Quantity(value, source).to(target).magnitude
            rows.append(f"{name},{value!r},{float(converted)!r}")
    (Path(sys.argv[1]) / "units.csv").write_text("\n".join(rows) + "\n")


main()
