"""Originals on a store that fsspec knows (``s3://…``, ``memory://`` …) instead of a folder.

A file is written whole or not at all: object stores do so by themselves, on others it gets its name
last. It is named by the hash of its bytes, and bytes that don't give that hash are refused.
"""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import PurePosixPath
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

from sheet_reader.atomic import TEMPORARY
from sheet_reader.errors import SheetReaderError, StorageError, UsageError, install_extra

if TYPE_CHECKING:
    from fsspec import AbstractFileSystem

STORE_VARIABLE = "SHEET_READER_ORIGINALS"
WHOLE_BY_THEMSELVES = frozenset(
    {"memory", "s3", "s3a", "gs", "gcs", "az", "abfs", "abfss", "adl", "oss", "oci", "r2"}
)
"""Protocols under which an object appears when all of it is there, or not at all."""
WAITS = "nothing that was saved before is lost; what is not read yet waits"


@dataclass(frozen=True, slots=True)
class StoredFile:
    """One original on a store; it has those parts of a :class:`~pathlib.Path` that are needed to
    read it. Raises FileNotFoundError where there is none, OSError where its bytes are not those
    that were kept, and :class:`StorageError` where the store is out of reach.
    """

    store: ObjectStore
    relative: str

    @property
    def name(self) -> str:
        """The last part of its name."""
        return PurePosixPath(self.relative).name

    @property
    def stem(self) -> str:
        """The hash of its bytes in hexadecimal."""
        return PurePosixPath(self.relative).stem

    def __str__(self) -> str:
        return f"{self.store}/{self.relative}"

    def is_file(self) -> bool:
        """Whether it is there."""
        with self.store.reached(self.relative) as (files, path):
            return bool(files.isfile(path))

    def stat(self) -> SimpleNamespace:
        """Its size as ``st_size``, in bytes."""
        with self.store.reached(self.relative) as (files, path):
            return SimpleNamespace(st_size=int(files.size(path) or 0))

    def raw_bytes(self) -> bytes:
        """Its bytes as they are."""
        with self.store.reached(self.relative) as (files, path):
            return bytes(files.cat_file(path))

    def read_text(self, encoding: str) -> str:
        """Its text; for a file that is no original."""
        return self.raw_bytes().decode(encoding)

    def read_bytes(self) -> bytes:
        """Its bytes, checked against their hash."""
        data = self.raw_bytes()
        if hashlib.sha256(data).hexdigest() != self.stem:
            raise OSError(errno.EIO, "the store gave other bytes than were kept", str(self))
        return data


@dataclass(frozen=True, slots=True)
class CarriedFile:
    """An original that was read here, to be passed to another process: its bytes, or why not."""

    name: str
    held: bytes | OSError

    def read_bytes(self) -> bytes:
        """The bytes; raises what reading them raised."""
        if isinstance(self.held, OSError):
            raise self.held
        return self.held


@dataclass(frozen=True, slots=True)
class ObjectStore:
    """A place on a store, by its fsspec URL."""

    url: str

    def __str__(self) -> str:
        return shown(self.url)

    @contextmanager
    def reached(self, relative: str) -> Iterator[tuple[AbstractFileSystem, str]]:
        """The file system of the store, and where on it an original lies. What it raises becomes
        ours, but for a missing file.
        """
        files, root = _opened(self.url)
        try:
            yield files, f"{root.rstrip('/')}/{relative}"
        except (SheetReaderError, FileNotFoundError):
            raise
        except Exception as error:  # each store has errors of its own
            raise StorageError(
                f"the store of originals can't be used ({_first_line(error)})",
                where=str(self),
                remedy=f"check {STORE_VARIABLE}, the network and your rights there; {WAITS}",
            ) from error

    def keep(self, relative: str, data: bytes) -> bool:
        """Write ``data`` whole or not at all; says whether it was written, or was there already.

        Raises :class:`StorageError`.
        """
        with self.reached(relative) as (files, path):
            if files.exists(path) and files.cat_file(path) == data:
                return False
            folder = path.rpartition("/")[0]
            files.makedirs(folder, exist_ok=True)
            named = files.protocol
            if (named if isinstance(named, str) else named[0]) in WHOLE_BY_THEMSELVES:
                files.pipe_file(path, data)
            else:
                half = f"{folder}/{TEMPORARY}{os.getpid()}-{secrets.token_hex(6)}"
                files.pipe_file(half, data)
                files.mv(half, path)
            files.invalidate_cache()
            if files.size(path) != len(data):
                raise OSError(errno.EIO, "the store did not keep all bytes")
        return True

    def remove(self, relative: str) -> None:
        """Remove an original, if it is there."""
        with self.reached(relative) as (files, path):
            if files.exists(path):
                files.rm_file(path)

    def names(self, folder: str) -> Iterator[str]:
        """The files under ``folder`` of the store, relative to the store, half-written ones left
        out; sorted.
        """
        with self.reached("") as (files, root):
            files.invalidate_cache()
            try:
                found = sorted(files.find(f"{root}{folder}"))
            except FileNotFoundError:
                return
        for path in found:
            relative = str(path)[len(root) :] if str(path).startswith(root) else ""
            if relative and not PurePosixPath(relative).name.startswith("."):
                yield relative


def shown(url: str) -> str:
    """The URL without a password and without parameters, as one printable line."""
    protocol, found, rest = url.partition("://")
    plain = f"{protocol}{found}{rest.rpartition('@')[2].partition('?')[0]}".rstrip("/")
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in plain)


@lru_cache(maxsize=8)
def _opened(url: str) -> tuple[Any, str]:
    """The file system of a URL and the place in it.

    Raises :class:`UsageError` for a URL that means none, or one whose package is not installed.
    """
    try:
        from fsspec.core import url_to_fs
    except ImportError:
        what = "originals on a store need fsspec, which is not installed"
        raise UsageError(what, where=STORE_VARIABLE, remedy=install_extra("store")) from None
    try:
        files, path = url_to_fs(url)
    except ImportError as error:
        what = f"the package for this kind of store is not installed ({_first_line(error)})"
        raise UsageError(what, where=STORE_VARIABLE) from None
    except ValueError as error:
        remedy = "write it as s3://bucket/folder, or another address that fsspec knows"
        what = f"this is not the address of a store ({shown(url)})"
        raise UsageError(what, where=STORE_VARIABLE, remedy=remedy) from error
    except Exception as error:  # each store has errors of its own
        what = f"the store of originals can't be used ({_first_line(error)})"
        raise StorageError(what, where=shown(url)) from error
    return files, str(path)


def _first_line(error: BaseException) -> str:
    lines = str(error).splitlines()
    return lines[0][:160] if lines else type(error).__name__
