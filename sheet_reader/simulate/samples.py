"""The two sample studies as they ship inside the package."""

from __future__ import annotations

from pathlib import Path

from sheet_reader.atomic import atomic_write

SAMPLES = ("bean_tips", "rock_pools")


def sample_folder(name: str) -> Path:
    """The folder of one of :data:`SAMPLES`, inside the package: read it, don't write there."""
    if name not in SAMPLES:
        raise ValueError(f"no sample study is called {name!r}; there are {', '.join(SAMPLES)}")
    return Path(__file__).parent / "data" / name


def copy_sample(name: str, folder: Path) -> None:
    """Copy a sample study's files into ``folder``, which is made if need be."""
    atomic_write({
        folder / file.name: file.read_bytes()
        for file in sorted(sample_folder(name).iterdir()) if file.suffix in {".toml", ".csv"}
    })  # fmt: skip
