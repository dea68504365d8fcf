"""A spreadsheet program that is not ours: LibreOffice without a window, told to compute everything anew."""

import io
import re
import shutil
import subprocess
import zipfile
from pathlib import Path

import openpyxl
import pytest

SOFFICE = shutil.which("soffice") or ""
LIMIT = 600.0  # seconds, on a machine that does much else
#: Compute every formula of a file that comes in, whatever values it was saved with; and never the network.
SETTINGS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"
 xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>0</value></prop></item>
</oor:items>"""

office = pytest.mark.office


#: How a CSV file is opened: commas, quotation marks, UTF-8, and whatever looks like a formula computed.
CSV_FILTER = "CSV:44,34,76,1,,0,false,true,false,false,false,-1,true"


def converted(folder: Path, files: dict[str, bytes], kind: str, *, opened_as: str = "") -> dict[str, bytes]:
    """Files by name, opened and saved as ``kind`` (xlsx, csv, pdf) in one run of the program."""
    profile, given, made = folder / "profile", folder / "in", folder / "out"
    shutil.rmtree(folder / "in", ignore_errors=True)
    for place in (profile / "user", given, made):
        place.mkdir(parents=True, exist_ok=True)
    (profile / "user" / "registrymodifications.xcu").write_text(SETTINGS)
    for name, content in files.items():
        (given / name).write_bytes(content)
    command = [SOFFICE, f"-env:UserInstallation=file://{profile}", "--headless", "--convert-to", kind]
    command += [f"--infilter={opened_as}"] if opened_as else []
    ran = subprocess.run(
        [*command, "--outdir", str(made), *(str(given / name) for name in files)],
        capture_output=True,
        timeout=LIMIT,
        check=False,
    )
    ending = kind.partition(":")[0]
    found = {name: made / f"{Path(name).stem}.{ending}" for name in files}
    assert all(path.exists() for path in found.values()), ran.stderr.decode(errors="replace")
    return {name: path.read_bytes() for name, path in found.items()}


def recomputed(folder: Path, files: dict[str, bytes]) -> dict[str, openpyxl.Workbook]:
    """Workbooks with the values that LibreOffice gives their formulas."""
    return {
        name: openpyxl.load_workbook(io.BytesIO(content), data_only=True)
        for name, content in converted(folder, files, "xlsx").items()
    }


def misled(content: bytes, wrong: str = "123456.78") -> bytes:
    """The same file in which every formula was saved with a wrong value: who does not compute it anew is found out."""
    out = io.BytesIO()
    changed = 0
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.infolist():
            data = old.read(member)
            if member.filename.startswith("xl/worksheets/sheet"):
                data, count = re.subn(rb"(</f><v>)[^<]*(</v>)", rb"\g<1>" + wrong.encode() + rb"\g<2>", data)
                changed += count
            new.writestr(member.filename, data)
    assert changed
    return out.getvalue()


def named(book: openpyxl.Workbook, name: str) -> openpyxl.cell.Cell:
    """The cell that a workbook calls ``name``."""
    ((sheet, place),) = book.defined_names[name].destinations
    return book[sheet][place.replace("$", "")]
