"""sheet_reader: print count sheets, read their photographs, ask about the doubtful fields only.

The names in ``__all__`` are the door for Python programs; :mod:`sheet_reader.api` describes them.
They are loaded when they are first used: the import alone loads no other library and changes
nothing in the process.
"""

from importlib import import_module
from typing import TYPE_CHECKING

__all__ = [
    "BatchSummary",
    "PhotoField",
    "PhotoPage",
    "PhotoReading",
    "SheetReaderError",
    "Study",
    "StudyRecord",
    "__version__",
    "compare",
    "open_record",
    "open_study",
    "print_sheets",
    "read_batch",
    "read_photo",
]

__version__ = "0.1.0"

if TYPE_CHECKING:
    from sheet_reader.api import (
        BatchSummary,
        PhotoField,
        PhotoPage,
        PhotoReading,
        SheetReaderError,
        Study,
        StudyRecord,
        compare,
        open_record,
        open_study,
        print_sheets,
        read_batch,
        read_photo,
    )
else:  # hidden from type checkers: for them it would make every misspelt name one of any type

    def __getattr__(name: str) -> object:
        if name not in __all__:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        value = getattr(import_module(f"{__name__}.api"), name)
        globals()[name] = value
        return value

    def __dir__() -> list[str]:
        return sorted({*globals(), *__all__})
