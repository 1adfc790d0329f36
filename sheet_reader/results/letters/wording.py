"""Items in the words of the study, put into the templates.

The templates are Jinja2 in its sandbox: they can format what they are given and reach nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

from jinja2 import StrictUndefined, Template
from jinja2.sandbox import ImmutableSandboxedEnvironment

from sheet_reader.errors import StorageError, UsageError
from sheet_reader.results.letters.open_items import ASKS, Item
from sheet_reader.study.study import Study
from sheet_reader.study.words import ENGLISH_LETTERS as ENGLISH

TEMPLATES = ("letter.txt", "letter.html")
OWN_FOLDER = "letter_templates"
ADVICE: Mapping[str, str] = {
    "Please photograph the whole sheet": "advice_whole",
    "Please keep fingers": "advice_covered",
    "Please turn away": "advice_glare",
    "Please step closer": "advice_closer",
    "Please send the photograph in its full size": "advice_size",
    "Please hold still": "advice_still",
    "Please find more light": "advice_light",
    "Please lay the sheet flat": "advice_flat",
}
"""How the record's advice begins, which is kept in English, and the key of its words."""


@dataclass(frozen=True, slots=True)
class LetterText:
    """A letter's text in both forms, its subject, and the identifiers under which the HTML names
    its pictures.
    """

    subject: str
    text: str
    html: str
    pictures: tuple[str, ...]


def template_texts(folder: Path) -> dict[str, str]:
    """The templates: hers from the study's ``letter_templates``, else those of the package."""
    found = {}
    for name in TEMPLATES:
        own = folder / OWN_FOLDER / name
        try:
            there = own if own.exists() else files(__package__).joinpath("templates", name)
            found[name] = there.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise StorageError(f"this template can't be read: {error}", where=own) from None
    return found


def worded(
    study: Study, words: Mapping[str, str], templates: Mapping[str, str], items: Sequence[Item],
    with_picture: Sequence[Item],
) -> LetterText:  # fmt: skip
    """A letter that says ``items``, of one volunteer, with pictures of some of them. Raises
    UsageError for a template that can't be filled, with its line.
    """
    found = {item.site: study.site(item.site) for item in items}
    names = {number: (site and site.label) or number for number, site in found.items()}
    numbers = {item: number for number, item in enumerate(with_picture, start=1)}
    questions = [
        {
            "text": sentence,
            "picture": f"picture-{numbers[item]}" if item in numbers else "",
            "see": words["picture"].format(number=numbers[item]) if item in numbers else "",
            "alt": sentence,
        }
        for item, sentence in _questions(words, names, items)
    ]
    advice = [advice_in(words, item.what) for item in items if item.kind == "advice"]
    given = {
        "language": words["language"],
        "greeting": words["greeting"],
        "thanks": _thanks(words, names, items),
        "questions_lead": words["questions"],
        "questions": questions,
        "advice_lead": words["advice"],
        "advice": list(dict.fromkeys(advice)),
        "closing": words["closing"],
        "signature": words["signature"].format(title=study.title),
        "title": study.title,
    }
    places = list(dict.fromkeys(names[i.site] for i in items if i.kind in ASKS))
    text, html = (_filled(name, templates[name], given) for name in TEMPLATES)
    subject = words["subject"].format(title=study.title, place=listed(words, places))
    return LetterText(subject, text, html, tuple(f"picture-{n}" for n in numbers.values()))


def _questions(
    words: Mapping[str, str], names: Mapping[str, str], items: Sequence[Item]
) -> list[tuple[Item, str]]:
    """Each item that asks something, as a sentence; the missed visits of a site in one."""
    found = []
    missed: dict[str, list[Item]] = {}
    for item in items:
        if item.kind == "missed":
            missed.setdefault(item.site, []).append(item)
        elif item.kind in ASKS:
            told = {"place": names[item.site], "day": _day(words, item), **dict(item.told)}
            if item.kind == "photo":
                told["reason"] = words[told["reason"]]
            found.append((item, words[item.words or item.kind].format(**told)))
    for site, several in missed.items():
        days = listed(words, [_day(words, item) for item in several])
        found.append((several[0], words["missed"].format(place=names[site], days=days)))
    return found


def _thanks(words: Mapping[str, str], names: Mapping[str, str], items: Sequence[Item]) -> str:
    by_site: dict[str, list[str]] = {}
    for item in items:
        if item.kind == "thanks":
            by_site.setdefault(item.site, []).append(_day(words, item))
    sentences = [
        words["thanks"].format(place=names[site], days=listed(words, days))
        for site, days in by_site.items()
    ]
    return " ".join(sentences) or words["thanks_none"]


def _day(words: Mapping[str, str], item: Item) -> str:
    """The day as the volunteers write it, "" for a photo."""
    if not item.visit_date:
        return ""
    day = date.fromisoformat(item.visit_date)
    return words["date"].format(day=day.day, month=words["months"].split()[day.month - 1])


def advice_in(words: Mapping[str, str], advice: str) -> str:
    """Advice of the record in the words of the letters; in English it keeps its details."""
    key = next((key for start, key in ADVICE.items() if advice.startswith(start)), "")
    return advice if not key or words[key] == ENGLISH[key] else words[key]


def listed(words: Mapping[str, str], entries: list[str]) -> str:
    """“a, b and c”."""
    if len(entries) < 2:
        return "".join(entries)
    return words["list_and"].format(rest=", ".join(entries[:-1]), last=entries[-1])


@lru_cache(maxsize=8)
def _compiled(template: str, *, is_html: bool) -> Template:
    environment = ImmutableSandboxedEnvironment(
        autoescape=is_html, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
        keep_trailing_newline=True,
    )  # fmt: skip
    return environment.from_string(template)


def _filled(name: str, template: str, given: Mapping[str, object]) -> str:
    try:
        return _compiled(template, is_html=name.endswith(".html")).render(given)
    except Exception as error:  # whatever an expression of hers may raise, as 1 / 0
        line = getattr(error, "lineno", None)
        where = f"{OWN_FOLDER}/{name}" + (f" line {line}" if line else "")
        raise UsageError(
            f"this template can't be filled: {error}", where=where,
            remedy="mend it, or remove the file to use the shipped one",
        ) from None  # fmt: skip
