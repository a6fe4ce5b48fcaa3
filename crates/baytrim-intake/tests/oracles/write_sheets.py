"""Writes the spreadsheet files of tests/files: a workbook, and what a spreadsheet program makes of it.

Run once by hand; the files are committed beside SHA256SUMS, and the tests read them as they are.
    pip install openpyxl==3.1.5
    apt-get install libreoffice-calc-nogui    # 7.4.7 wrote the files
    python write_sheets.py ../files
Every quantity is a straight line in time. The cells show German numbers.
"""

import datetime
import hashlib
import subprocess
import sys
import tempfile
from pathlib import Path

from openpyxl import Workbook

HEADER = ["Zeit", "Motordrehzahl", "Drosselklappe", "Lambda", "Kühlmittel", "Bemerkung"]
UNITS = ["s", "U/min", "%", "-", "°C", ""]
# Delimiter, quotation mark, character set, first line, column formats, language, quote all, as shown.
SAVED = {
    "sheet_semicolon_1252.csv": "59,34,1,1,,1031,false,true",
    "sheet_tab_utf16.csv": "9,34,65535,1,,1031,false,true",
    "sheet_quoted_utf8.csv": "44,34,76,1,,1031,true,true",
}


def workbook(path):
    book = Workbook()
    sheet = book.active
    sheet.append(["Prüfstand Ost"])
    sheet.append(HEADER)
    sheet.append(UNITS)
    for index in range(60):
        t = index / 20
        remark = "Halt; dann weiter" if index % 20 == 7 else None
        sheet.append([t, 2000 + 300 * t, 10 + 5 * t, 0.85 + 0.02 * t, 70 + 0.5 * t, remark])
    for row in sheet.iter_rows(min_row=4, max_col=5):
        for cell in row:
            cell.number_format = "[$-407]#,##0.000"
    book.save(path)


def grouped_workbook(path):
    """Times of day over midnight, thousands of whole numbers set apart, truth in words."""
    book = Workbook()
    sheet = book.active
    sheet.append(["Uhrzeit", "Drehzahl [1/min]", "Drosselklappe [%]", "Lambda [-]", "Schub"])
    start = datetime.datetime(2031, 5, 4, 23, 59, 59)
    for index in range(60):
        t = index / 20
        clock = start + datetime.timedelta(seconds=t)
        cut = "ja" if 1.0 <= t < 1.5 else "nein"
        sheet.append([clock, round(2000 + 300 * t), 10 + 5 * t, 0.85 + 0.02 * t, cut])
    for row in sheet.iter_rows(min_row=2):
        for cell, shown in zip(row, ["hh:mm:ss.000", "#,##0", "0.00", "0.000"]):
            cell.number_format = shown
    book.save(path)


def main():
    folder = Path(sys.argv[1])
    with tempfile.TemporaryDirectory() as scratch:
        source = Path(scratch) / "sheet.xlsx"
        workbook(source)
        (folder / "sheet.xlsx").write_bytes(source.read_bytes())
        convert = ["soffice", "--headless", "--convert-to"]
        for name, options in SAVED.items():
            to = f"csv:Text - txt - csv (StarCalc):{options}"
            subprocess.run([*convert, to, "--outdir", scratch, source], check=True, capture_output=True)
            (folder / name).write_bytes((Path(scratch) / "sheet.csv").read_bytes())
        grouped = Path(scratch) / "grouped.xlsx"
        grouped_workbook(grouped)
        to = "csv:Text - txt - csv (StarCalc):59,34,76,1,,0,false,true"
        subprocess.run([*convert, to, "--outdir", scratch, grouped], check=True, capture_output=True)
        (folder / "sheet_grouped.csv").write_bytes((Path(scratch) / "grouped.csv").read_bytes())
        for kind in ("ods", "xls"):
            subprocess.run([*convert, kind, "--outdir", scratch, source], check=True, capture_output=True)
            (folder / f"sheet.{kind}").write_bytes((Path(scratch) / f"sheet.{kind}").read_bytes())
    sums = [
        f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.name}"
        for path in sorted(folder.iterdir())
        if path.name != "SHA256SUMS"
    ]
    (folder / "SHA256SUMS").write_text("\n".join(sums) + "\n")


main()
