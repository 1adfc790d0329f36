"""What several rooms' tests share lies in ``helpers``; worker processes import it by name."""

import sys
from pathlib import Path

from sheet_reader.threads import one_thread_from_the_start

one_thread_from_the_start()  # as the programs do
sys.path.insert(0, str(Path(__file__).parent / "helpers"))
