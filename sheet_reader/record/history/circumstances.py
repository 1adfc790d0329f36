"""What besides the photo, the program and the model decides whether a photo can be read.

A refusal holds only while these are as they were: sheets of a layout that the study has again, of
a site that is back on the list, or pictures of a kind for which a package is now there, are read
by themselves in the next run.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from importlib.metadata import PackageNotFoundError, version

from sheet_reader.study.model import Study

PACKAGES = ("numpy", "opencv-python", "pillow", "pillow-heif", "pypdfium2", "scipy", "zxing-cpp")
"""Those that open pictures and find sheets in them."""


def circumstances(study: Study) -> str:
    """A digest of the study's pages and sites and of the packages that are there.

    Raises StudyError where the study does not fit its paper.
    """
    from sheet_reader.sheet.kept_layouts import whole_book

    told = {
        "study": study.key,
        "layouts": sorted(whole_book(study).versions),
        "sites": sorted(site.number for site in study.sites),
        "packages": {name: _version(name) for name in PACKAGES},
        "printed code": shutil.which("tesseract") is not None,
    }
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return ""
