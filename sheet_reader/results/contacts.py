"""Who counts where: the mail addresses on the site list."""

from __future__ import annotations

import email.utils
import re
from functools import lru_cache

from sheet_reader.study.model import Study

_ADDRESS = re.compile(r"[\w.!#$%&*+/=?^`{|}~'-]+@[\w.-]+", re.ASCII)


def addresses(study: Study) -> dict[str, str]:
    """The mail address of each site's contact; sites without one, in ASCII, are left out."""
    found = {}
    for site in study.sites:
        words = [word.strip("<>()[]\"'") for word in re.split(r"[\s,;]+", site.contact)]
        address = next((word for word in words if _ADDRESS.fullmatch(word)), None)
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
