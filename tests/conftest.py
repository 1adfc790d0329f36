"""What several rooms' tests share lies in ``helpers``; worker processes import it by name."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "helpers"))
