"""Set an update as one HTML file: no script, nothing fetched, ready to print on A4 and Letter.

The page comes from Jinja2 templates in a sandbox with everything escaped. Templates of the same
name in a folder of her own come first: ``update.html`` (the page), ``section.html`` (one part),
``table.html``, ``style.css``.
"""

from __future__ import annotations

from pathlib import Path

from jinja2 import FileSystemLoader, StrictUndefined, TemplateError
from jinja2.exceptions import SecurityError
from jinja2.sandbox import ImmutableSandboxedEnvironment
from markupsafe import Markup

from sheet_reader.errors import UsageError
from sheet_reader.results.update.sections import Content

TEMPLATES = Path(__file__).parent / "templates"
"""The templates of the package, to copy and change."""


def render_page(content: Content, own_templates: Path | None = None) -> bytes:
    """The page in UTF-8. ``own_templates`` is a folder whose templates replace the package's.

    Raises UsageError that names template and line where one has a mistake.
    """
    loader = FileSystemLoader([own_templates, TEMPLATES] if own_templates else TEMPLATES)
    environment = ImmutableSandboxedEnvironment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, keep_trailing_newline=True,
    )  # fmt: skip
    try:
        style, _, _ = loader.get_source(environment, "style.css")
        page = environment.get_template("update.html").render(
            content=content,
            svg=lambda drawn: Markup(drawn),  # its text was escaped by the plotting library
            style=Markup(style.replace("</", "<\\/")),  # which can't end its element
        )
    except (TemplateError, SecurityError, TypeError, ValueError, ArithmeticError) as error:
        raise UsageError(
            f"a template of the update has a mistake: {error}",
            where=_place(error, own_templates),
            remedy="mend the template, or remove it to use the package's own",
        ) from error
    return page.encode("utf-8")


def _place(error: Exception, own_templates: Path | None) -> str:
    """The template and line of the mistake, as far as known."""
    name, line = getattr(error, "name", None), getattr(error, "lineno", None)
    trace = error.__traceback__
    while trace is not None and not (name and line):
        file = trace.tb_frame.f_code.co_filename
        if file.endswith((".html", ".css")):
            name, line = Path(file).name, trace.tb_lineno
        trace = trace.tb_next
    folder = f"{own_templates}/" if own_templates and name else ""
    return f"{folder}{name} line {line}" if name and line else str(own_templates or TEMPLATES)
