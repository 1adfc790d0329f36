"""The tables as Parquet files, for programs; needs the package pyarrow (extra ``parquet``)."""

from __future__ import annotations

import io

from sheet_reader.errors import UsageError
from sheet_reader.results.frames import Tables
from sheet_reader.study.study import Study


def parquet(_study: Study, tables: Tables) -> dict[str, bytes]:
    """rows.parquet, counts.parquet and readings.parquet. Raises UsageError without pyarrow."""
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise UsageError(
            "Parquet files need the package pyarrow", remedy="pip install pyarrow"
        ) from None
    files = {}
    for name in ("rows", "counts", "readings"):
        stream = io.BytesIO()
        table = pyarrow.Table.from_pandas(getattr(tables, name), preserve_index=False)
        for place, column in enumerate(table.schema):
            if column.type == pyarrow.timestamp("ns"):  # days
                table = table.set_column(place, column.name, table[place].cast(pyarrow.date32()))
        pyarrow.parquet.write_table(table, stream)
        files[f"{name}.parquet"] = stream.getvalue()
    return files
