"""sheet_reader: print count sheets, read their photographs, ask about the doubtful fields only."""

import os

# The matrices of a sheet are small: threads cost more than they bring, ten times as much where
# several pictures are read at once. This must stand before numpy is first imported.
for _library in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_library, "1")

__all__ = ["__version__"]

__version__ = "0.1.0"
