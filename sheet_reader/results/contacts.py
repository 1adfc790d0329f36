"""Who counts where: the mail addresses on the site list, and what tells nobody's name."""

from __future__ import annotations

import email.utils
import re
from collections.abc import Collection, Iterable
from functools import lru_cache

from sheet_reader.study.study import Study

_IN_ASCII = re.compile(r"[\w.!#$%&*+/=?^`{|}~'-]+@[\w.-]+", re.ASCII)
_ADDRESS = re.compile(r"\S+@\S+")
_TELEPHONE = re.compile(r"(?<!\w)\+?\d[\d ()/-]{5,}\d(?!\w)")
_DAY = re.compile(r"\d{4}-\d\d?-\d\d?|\d\d?[/-]\d\d?[/-]\d{4}")
SHORTEST_NAME = 3


def addresses(study: Study) -> dict[str, str]:
    """The mail address of each site's contact; sites without one, in ASCII, are left out."""
    found = {}
    for site in study.sites:
        words = [word.strip("<>()[]\"'") for word in re.split(r"[\s,;]+", site.contact)]
        address = next((word for word in words if _IN_ASCII.fullmatch(word)), None)
        if address is not None:
            found[site.number] = address
    return found


def sites_by_address(study: Study) -> dict[str, list[str]]:
    """The sites of each address, in lower case, in the order of the list."""
    found: dict[str, list[str]] = {}
    for site, address in addresses(study).items():
        found.setdefault(address.lower(), []).append(site)
    return found


@lru_cache(maxsize=4096)
def bare(sender: str) -> str:
    """The address alone, in lower case, of a sender as it stood in a mail."""
    return email.utils.parseaddr(sender)[1].lower()


def names_in(contacts: Iterable[str]) -> frozenset[str]:
    """The words of ``contacts`` that may be names."""
    return frozenset(
        word
        for contact in contacts
        for word in re.findall(r"[^\W\d_]+", _ADDRESS.sub(" ", contact))
        if len(word) >= SHORTEST_NAME
    )


def told_without_people(remark: str, *names: Collection[str]) -> str:
    """A remark on one line without addresses, telephone numbers and words that are ``names``."""
    text = _ADDRESS.sub("…", remark)
    text = _TELEPHONE.sub(lambda m: m.group() if _DAY.fullmatch(m.group()) else "…", text)
    text = re.sub(r"\w+", lambda m: "…" if any(m.group() in n for n in names) else m.group(), text)
    return " ".join(text.split())


def place_names(study: Study) -> dict[str, str]:
    """What each site is called: its label, but its number where the label has a word of a contact
    on the site list.
    """
    names = names_in(site.contact for site in study.sites)
    return {
        site.number: site.label
        if told_without_people(site.label, names) == " ".join(site.label.split())
        else f"site {site.number}"
        for site in study.sites
    }
