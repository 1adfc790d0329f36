"""When every photo of a batch fails in one unforeseen way, the fault lies in the installation."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, version

from sheet_reader import __version__
from sheet_reader.numbers import READING
from sheet_reader.record.history.found import PhotoResult
from sheet_reader.record.store.claims import Task

PACKAGES = ("numpy", "opencv-python", "pillow", "pypdfium2", "scipy", "zxing-cpp")
"""The packages that reading a photo rests on."""
FEWEST = READING.fewest_alike

Result = tuple[Task, PhotoResult]


class CommonFault:
    """Holds results back as long as all photos have failed in one unforeseen way.

    They are given on as soon as one goes otherwise; if none does, the photos are left waiting and
    ``message`` says what is wrong.
    """

    def __init__(self) -> None:
        self.message = ""
        self._how = ""
        self._held: list[Result] = []
        self._clear = False

    def watched(self, results: Iterator[Result]) -> Iterator[Result]:
        """The results that are to be kept."""
        for task, result in results:
            self._clear |= not result.unforeseen or self._how not in ("", result.unforeseen)
            self._how = result.unforeseen
            self._held.append((task, result))
            if self._clear:
                yield from self._given_on()
        if len(self._held) < FEWEST:
            yield from self._given_on()
        else:
            self.message = _message(len(self._held), self._how)

    def _given_on(self) -> Iterator[Result]:
        while self._held:
            yield self._held.pop(0)


def _message(photos: int, how: str) -> str:
    return (
        f"all {photos} photos failed in the same unforeseen way ({how}), so the fault lies in the "
        f"installation, not in the photos; they wait to be read. Installed are {installed()}"
    )


def installed() -> str:
    """The program and the packages that reading rests on, with their versions."""
    return ", ".join([f"sheet-reader {__version__}", *(_with_version(p) for p in PACKAGES)])


def _with_version(package: str) -> str:
    try:
        return f"{package} {version(package)}"
    except PackageNotFoundError:
        return f"no {package}"
