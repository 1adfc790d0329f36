"""What several rooms' tests share lies in ``helpers``; worker processes import it by name."""

import sys
from pathlib import Path

from hypothesis import settings

from sheet_reader.threads import one_thread_from_the_start

one_thread_from_the_start()  # as the programs do

settings.register_profile("busy machine", deadline=None)
settings.load_profile("busy machine")

sys.path.insert(0, str(Path(__file__).parent / "helpers"))
