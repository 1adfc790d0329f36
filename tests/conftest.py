"""What several rooms' tests share lies in ``helpers``; worker processes import it by name."""

import signal
import sys
from pathlib import Path

from hypothesis import settings

from sheet_reader.threads import one_thread_from_the_start

one_thread_from_the_start()  # as the programs do

# Shells start what runs in the background with Ctrl-C ignored, and programs hand that on.
signal.signal(signal.SIGINT, signal.default_int_handler)

settings.register_profile("busy machine", deadline=None)
settings.load_profile("busy machine")

sys.path.insert(0, str(Path(__file__).parent / "helpers"))
