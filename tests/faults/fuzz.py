"""Feeds the program damaged and hostile files and counts what it should never do.

    python tests/faults/fuzz.py --inputs 2000 --seed 1

Photos, scans, PDFs, mails, archives and study files are made, damaged at random and read by the
whole program in watched worker processes. Counted are tracebacks (a reader that stumbled or broke
down, an error that is not one of ours), hangs, lines that are no lines, and values from pictures
that show no sheet.
"""

from __future__ import annotations

import argparse
import io
import random
import re
import shutil
import sys
import tempfile
import time
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from email.message import EmailMessage
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from sheet_reader.errors import SheetReaderError
from sheet_reader.reading.batch import read_batch
from sheet_reader.reading.reader import Reader
from sheet_reader.record.store.store import Record
from sheet_reader.sheet.book import LayoutBook
from sheet_reader.simulate.no_sheet import no_sheet_photo, older_layout
from sheet_reader.simulate.sources import ProceduralHands
from sheet_reader.simulate.study_photos import photo_of
from sheet_reader.study.reader import read_study
from sheet_reader.study.study import Study

SAMPLES = Path(__file__).parents[2] / "samples"
CHUNK = 250
SECONDS = 240.0
KINDS_OF_NONE = ("desk", "text", "other study", "older layout")
BROKEN = re.compile(r"stumbled|broke down")
HUNG = re.compile(r"took longer")


@dataclass
class Result:
    """Everything but ``inputs``, ``seconds`` and ``outcomes`` must be empty."""

    inputs: int = 0
    seconds: float = 0.0
    outcomes: Counter[str] = field(default_factory=Counter)
    tracebacks: list[str] = field(default_factory=list)
    hangs: list[str] = field(default_factory=list)
    ghosts: list[str] = field(default_factory=list)
    bad_lines: list[str] = field(default_factory=list)

    @property
    def faults(self) -> list[str]:
        return self.tracebacks + self.hangs + self.ghosts + self.bad_lines

    def __str__(self) -> str:
        outcomes = ", ".join(f"{name} {count}" for name, count in sorted(self.outcomes.items()))
        return (
            f"{self.inputs} inputs in {self.seconds:.0f} s ({outcomes}): "
            f"{len(self.tracebacks)} tracebacks, {len(self.hangs)} hangs, "
            f"{len(self.ghosts)} values from no sheet, {len(self.bad_lines)} bad lines"
        )


def damaged(data: bytes, chance: random.Random) -> bytes:
    """``data`` after one to four random accidents."""
    changed = bytearray(data)
    for _ in range(chance.randint(1, 4)):
        if not changed:
            break
        chance.choice(ACCIDENTS)(changed, chance)
    return bytes(changed)


def _flip(data: bytearray, chance: random.Random) -> None:
    for _ in range(chance.choice((1, 4, 30))):
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)


def _cut(data: bytearray, chance: random.Random) -> None:
    del data[chance.randrange(len(data)) :]


def _drop(data: bytearray, chance: random.Random) -> None:
    at = chance.randrange(len(data))
    del data[at : at + chance.randint(1, 4000)]


def _repeat(data: bytearray, chance: random.Random) -> None:
    at = chance.randrange(len(data))
    data[at:at] = data[at : at + chance.randint(1, 4000)]


def _noise(data: bytearray, chance: random.Random) -> None:
    at = chance.randrange(len(data))
    data[at : at + 200] = chance.randbytes(chance.randint(1, 200))


def _extreme(data: bytearray, chance: random.Random) -> None:
    """A number in the head becomes one that programs stumble over."""
    at = chance.randrange(min(len(data), 600))
    data[at : at + 4] = chance.choice((b"\xff" * 4, b"\0" * 4, b"\x7f\xff\xff\xff", b"\xff\xff"))


def _text(data: bytearray, chance: random.Random) -> None:
    at = chance.randrange(len(data))
    tricks = (b"=1+1", b"../../", b"\r\n\r\n", b"%n%s", b"\xed\xa0\x80", b"\x1b[31m", b"'\"]]>")
    data[at:at] = chance.choice(tricks)


ACCIDENTS: tuple[Callable[[bytearray, random.Random], None], ...] = (
    _flip,
    _cut,
    _drop,
    _repeat,
    _noise,
    _extreme,
    _text,
)


def mistyped(text: bytes, chance: random.Random) -> bytes:
    """A text file after one to three of the mistakes that people make in one."""
    lines = text.split(b"\n")
    for _ in range(chance.randint(1, 3)):
        at = chance.randrange(len(lines))
        slip = chance.randrange(5)
        if slip == 0:
            del lines[at]
        elif slip == 1:
            lines.insert(at, chance.choice(lines))
        elif slip == 2:
            lines[at] = re.sub(rb"\d+", lambda _: chance.choice(NUMBERS), lines[at])
        elif slip == 3:
            lines[at] = re.sub(rb'"[^"]*"', lambda _: chance.choice(WORDS), lines[at])
        else:
            other = chance.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        lines = lines or [b""]
    return b"\n".join(lines)


NUMBERS = (b"0", b"-1", b"99999999999999999999", b"1e400", b"nan", b"0.5", b"true", b"2026-13-01")
WORDS = (b'""', b'"=1+1"', b'"a.b"', b'"' + b"x" * 10_000 + b'"', b"[]", b"{}", b"7", b'"\\u0000"')


def in_format(jpeg: bytes, kind: str) -> bytes:
    """A JPEG's picture as another kind of file, half its size."""
    image = Image.open(io.BytesIO(jpeg)).convert("L").reduce(2)
    stream = io.BytesIO()
    image.save(stream, kind)
    return stream.getvalue()


def in_mail(data: bytes, chance: random.Random) -> bytes:
    """A mail with the picture attached, in the text, or in an archive."""
    message = EmailMessage()
    message["From"] = "Pat Doe <pat@example.org>"
    message["Date"] = "Wed, 20 May 2026 18:30:00 +0200"
    message["Subject"] = "=HYPERLINK(1) Zählung"
    message.set_content("Here it is")
    if chance.random() < 0.5:
        message.add_attachment(data, "image", "jpeg", filename="=cmd|x\t..jpg")
    else:
        message.add_attachment(in_zip(data), "application", "zip", filename="photos.zip")
    return bytes(message)


def in_zip(data: bytes) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("../../p.jpg", data)
        archive.writestr("q.txt", b"hello" * 100)
    return stream.getvalue()


@cache
def pictures(seed: int, few: bool) -> tuple[list[bytes], list[bytes]]:
    """Some JPEGs that show a sheet of the beans, and some that show none; ``few`` is quick."""
    book, other = (LayoutBook(read_study(SAMPLES / s)) for s in ("bean_tips", "rock_pools"))
    hands = ProceduralHands()
    shows = [photo_of(book, hands, "easy", seed + n).data for n in range(1 if few else 3)]
    older = older_layout(book)
    none = [
        no_sheet_photo(kind, other, older, hands, "easy", seed + n).data
        for n, kind in enumerate(("text",) if few else KINDS_OF_NONE)
    ]
    noise = np.random.default_rng(seed).integers(0, 255, (900, 1200), dtype=np.uint8)
    none.append(cv2.imencode(".jpg", noise)[1].tobytes())
    small = [in_format(data, "JPEG") for data in (*shows, *none)]
    return shows + small[: len(shows)], none + small[len(shows) :]


def inputs(count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """Names and bytes; names that begin with ``none`` come from pictures without a sheet."""
    chance = random.Random(seed)
    shows, none = pictures(seed, count < CHUNK)
    formats = {kind: [in_format(d, kind) for d in (shows[0], none[0])] for kind in KINDS}
    for number in range(count):
        empty = chance.random() < 0.5
        base = chance.choice(none if empty else shows)
        form = chance.choices(("jpg", *KINDS, "eml", "zip"), (30, 6, 6, 6, 12, 15, 5))[0]
        if form in KINDS:
            base = formats[form][empty]
        elif form == "eml":
            base = in_mail(base, chance)
        elif form == "zip":
            base = in_zip(base)
        name = f"{'none' if empty else 'sheet'}{number}.{form.lower()}"
        yield name, damaged(base, chance)


KINDS = ("PNG", "TIFF", "WEBP", "PDF")


def fuzz_photos(
    folder: Path, count: int, seed: int, result: Result, reader: Reader | None, jobs: int
) -> None:
    """Read ``count`` damaged files with the whole program, some hundred at a time."""
    shutil.copytree(SAMPLES / "bean_tips", folder / "study")
    study = read_study(folder / "study")
    made = inputs(count, seed)
    for start in range(0, count, CHUNK):
        inbox = folder / f"inbox{start}"
        inbox.mkdir()
        for name, data in [next(made) for _ in range(min(CHUNK, count - start))]:
            kind = "none" if name.startswith("none") else "sheet"
            (inbox / kind).mkdir(exist_ok=True)
            (inbox / kind / name).write_bytes(data)
        for kind in ("none", "sheet"):
            _read(study, inbox / kind, kind, result, reader, jobs)
        shutil.rmtree(inbox)
    result.inputs += count


def _read(
    study: Study, folder: Path, kind: str, result: Result, reader: Reader | None, jobs: int
) -> None:
    if not folder.is_dir():
        return
    with Record.open(study) as record:
        before = {line.photo_id for line in record.photos()}
    try:
        summary = read_batch(study, [folder], reader=reader, jobs=jobs, seconds_per_picture=SECONDS)
    except Exception as error:
        result.tracebacks.append(f"{kind}: {type(error).__name__}: {error}")
        return
    if summary.fault:
        result.tracebacks.append(summary.fault)
    known = {*result.tracebacks, *result.hangs}  # stopped photos are tried again by the next read
    fresh = [line for line in summary.lines if line not in known]
    result.tracebacks += [line for line in fresh if BROKEN.search(line)]
    result.hangs += [line for line in fresh if HUNG.search(line)]
    result.bad_lines += [line for line in summary.lines if not line.isprintable()]
    with Record.open(study) as record:
        new = [line for line in record.photos() if line.photo_id not in before]
        rows = record.readings()
    ids = {line.photo_id for line in new}
    valued = [r for r in rows if r.photo_id in ids and r.read_value is not None]
    result.outcomes.update(f"photo {kind}: {line.status}" for line in new)
    result.outcomes[f"photo {kind}: not taken in"] += max(0, summary.failed - len(new))
    if kind == "none":
        result.ghosts += [f"{r.photo}: {r.field} = {r.read_value} ({r.status})" for r in valued]


def fuzz_studies(folder: Path, count: int, seed: int, result: Result) -> None:
    """Read ``count`` damaged study files and site lists."""
    chance = random.Random(seed + 1)
    for number in range(count):
        place = folder / "damaged"
        shutil.rmtree(place, ignore_errors=True)
        shutil.copytree(SAMPLES / chance.choice(("bean_tips", "rock_pools")), place)
        target = place / chance.choice(("study.toml", "study.toml", "sites.csv"))
        harm = chance.choice((damaged, mistyped, mistyped))
        target.write_bytes(harm(target.read_bytes(), chance))
        began = time.process_time()
        try:
            LayoutBook(read_study(place))
            result.outcomes["study: read"] += 1
        except SheetReaderError:
            result.outcomes["study: refused"] += 1
        except Exception as error:
            shutil.copy(target, folder.parent / f"study{number}_{target.name}")
            result.tracebacks.append(f"study {number}: {type(error).__name__}: {error}")
        if time.process_time() - began > SECONDS:
            result.hangs.append(f"study {number}")
    result.inputs += count


def campaign(
    count: int, seed: int, folder: Path, *, reader: Reader | None = None, jobs: int = 1
) -> Result:
    """``count`` inputs: one in five a study, the others files that photos come in."""
    began = time.monotonic()
    result = Result()
    studies = count // 5
    fuzz_photos(folder, count - studies, seed, result, reader, jobs)
    fuzz_studies(folder, studies, seed, result)
    result.seconds = time.monotonic() - began
    return result


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Read damaged and hostile files.")
    parser.add_argument("--inputs", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="fuzz") as folder:
        result = campaign(options.inputs, options.seed, Path(folder), jobs=options.jobs)
    print(result)
    for fault in result.faults:
        print(" ", fault)
    return 1 if result.faults else 0


if __name__ == "__main__":
    sys.exit(main())
