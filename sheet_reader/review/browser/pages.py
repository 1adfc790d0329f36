"""The templates and the files of the page, read once: nothing is looked up by a name from outside.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files

from jinja2 import Environment, FunctionLoader, StrictUndefined

FOLDER = files("sheet_reader.review.browser")
KINDS = {"css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}


def _template(name: str) -> str:
    return (FOLDER / "templates" / name).read_text("utf-8")


@cache
def _environment() -> Environment:
    return Environment(
        loader=FunctionLoader(_template), autoescape=True, undefined=StrictUndefined
    )


def page(name: str, **values: object) -> str:
    """A template filled in; every value is text, never markup."""
    return _environment().get_template(name).render(**values)


@cache
def static_files() -> dict[str, tuple[bytes, str]]:
    """Every file of the page by name, with its media type."""
    found = {}
    for file in (FOLDER / "static").iterdir():
        kind = KINDS.get(file.name.rpartition(".")[2])
        if kind is not None:
            found[file.name] = file.read_bytes(), kind
    return found
