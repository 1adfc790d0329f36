"""The files of a golden run in a form that can be compared, and their differences."""

from __future__ import annotations

import csv
import difflib
import io
import json
import re
import zipfile
from collections.abc import Collection, Iterator
from pathlib import Path

from sheet_reader.numbers import LAB

SHOWN = LAB.golden_shown
SUMS = "sums.txt"
KEPT_OF_FIELD = ("value", "confidence", "status", "reason", "reason_code", "read_as", "decided")


def unpacked(name: str, data: bytes) -> Iterator[tuple[str, bytes]]:
    """A file as those that a comparison can show: archives and workbooks by their members, Parquet
    as its schema and lines.
    """
    if data[:4] == b"PK\x03\x04":
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for member in sorted(archive.namelist()):
                yield f"{name}.members/{member}", archive.read(member)
    elif data[:4] == b"PAR1":
        from pyarrow import parquet

        table = parquet.read_table(io.BytesIO(data))
        lines = [table.schema.to_string(), *(json.dumps(r, default=str) for r in table.to_pylist())]
        yield f"{name}.txt", "\n".join(lines).encode()
    else:
        yield name, data


def canonical(readings: str, photos: str) -> list[str]:
    """From readings.csv and the table of ``photos``: a JSON line for each photo's fates and for
    each field, sorted, whatever the order of lines and columns.
    """
    found = []
    for row in csv.DictReader(io.StringIO(readings)):
        key = [row[n] for n in ("photo", "pdf_page", "sheet", "page", "field")]
        found.append((key, {n: row.get(n) for n in KEPT_OF_FIELD}))
    for row in csv.DictReader(io.StringIO(photos)):
        key = [row["photo"], row["sheet"], "fate"]
        found.append((key, {n: row[n] for n in ("fate", "site", "visit_date", "reason_code")}))
    return [json.dumps(pair, ensure_ascii=False) for pair in sorted(found, key=lambda p: p[0])]


def drawn_by_lot(readings: str, photos: str) -> set[str]:
    """The identifiers of visits that were typed in: drawn by lot, so other ones in each run."""
    table = csv.DictReader(io.StringIO(photos))
    typed = {row["photo"] for row in table if row["fate"] == "typed in"}
    rows = csv.DictReader(io.StringIO(readings))
    return {row["visit_id"] for row in rows if row["photo"] in typed}


def without_lots(data: bytes, lots: Collection[str]) -> bytes:
    """A file without these identifiers, and without the sums of files in which they stand."""
    for lot in lots:
        data = data.replace(lot.encode(), b"BY-LOT")
    return re.sub(rb"(?<=sha256:)[0-9a-f]{64}", b"BY-LOT", data) if lots else data


def differences(one: Path, two: Path) -> list[str]:
    """A line for each file that differs, below it the first lines of the difference."""
    files = {f.relative_to(p).as_posix() for p in (one, two) for f in p.rglob("*") if f.is_file()}
    found = []
    for name in sorted(files - {SUMS}):
        pair = [path / name for path in (one, two)]
        if gone := [str(path) for path in pair if not path.is_file()]:
            found.append(f"{name}: missing in {gone[0].removesuffix(name)}")
            continue
        before, after = (path.read_bytes() for path in pair)
        if before == after:
            continue
        found.append(f"{name}: differs")
        try:
            old, new = (data.decode("utf-8").splitlines() for data in (before, after))
        except UnicodeDecodeError:
            found.append(f"  {len(before)} and {len(after)} bytes, no text")
            continue
        shown = list(difflib.unified_diff(old, new, lineterm="", n=0))[2:]
        found += [f"  {line[:200]}" for line in shown[:SHOWN]]
        found += [f"  … and {len(shown) - SHOWN} lines more"] * (len(shown) > SHOWN)
    return found
