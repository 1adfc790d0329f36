r"""The handwritten site number: on the site list, or asked about.

Every number of the site list ends in its Damm check digit, so two of them differ in more than one
digit and in more than a swap of neighbours: one misread box never turns a site into another. The
prior says so:

    P(number) = (1 - e) / N   for each of the N listed numbers,
                e / 10^n      for any other way to fill n boxes,

with e = ``OFF_LIST``, the share of sheets whose volunteer writes a number that is not on the
site list (an assumption; Bayes' rule then gives the posterior). Where the boxes themselves say
clearly that another number was written, the site list does not overrule them: that is asked.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sheet_reader.decode.judgement import Judgement, box_doubt, box_flags, number_flags
from sheet_reader.decode.posteriors import NumberPosterior
from sheet_reader.numbers import DECODE
from sheet_reader.reasons import Code, Occlusion, because
from sheet_reader.study.site_numbers import is_valid, keying_mistakes

OFF_LIST = DECODE.off_sites


def judge_site(
    field: str,
    raw: NumberPosterior,
    hidden: Sequence[Occlusion],
    sites: Sequence[str],
    use_list: bool = True,
) -> Judgement:
    """Judge a handwritten site number. ``hidden`` has one entry per box.

    ``sites`` holds the numbers as printed, leading zeros included.
    """
    flags = box_flags(raw, hidden)
    if raw.empty >= 0.5 and not flags:
        return Judgement(field, None, raw.empty, (because(Code.SITE_EMPTY),))
    if not len(raw.values):
        return Judgement(field, None, 0.0, flags or (because(Code.NO_NUMBER),))
    known = {int(number): number for number in sites}
    posterior = _with_list(raw, known) if use_list and known else raw
    (value, confidence), *rest = posterior.ranked()
    written = raw.ranked()[0][0]
    accept = not use_list or written in known or (value in known and not raw.overrules(value))
    shown = value if accept else written
    judged = Judgement(
        field,
        _text(value, known),
        confidence,
        (*flags, *number_flags(raw, shown, _text(shown, known))),
        box_doubt(raw)[1],
        runner_up=_text(rest[0][0], known) if rest else None,
        runner_up_confidence=rest[0][1] if rest else 0.0,
    )
    return judged if accept else _off_list(judged, posterior, written, known)


def _with_list(raw: NumberPosterior, known: dict[int, str]) -> NumberPosterior:
    ways = 10.0 ** len(raw.boxes)
    on_list = np.isin(raw.values, np.array(list(known), dtype=np.int64))
    listed = (1.0 - OFF_LIST) / len(known) * ways
    return raw.reweighted(np.where(on_list, listed, OFF_LIST))


def _text(value: int, known: dict[int, str]) -> str:
    return known.get(value, str(value))


def _off_list(
    judged: Judgement, posterior: NumberPosterior, written: int, known: dict[int, str]
) -> Judgement:
    """Flag a number that is not on the list; offer the one listed number a keying error away."""
    width = max(len(number) for number in known.values())
    near = [n for n in known.values() if keying_mistakes(str(written).zfill(width), n) == 1]
    site = str(written)
    reason = because(Code.OFF_LIST, site=site, near=near, check_digit=is_valid(site))
    value = near[0] if len(near) == 1 else str(written)
    return Judgement(
        judged.field,
        value,
        posterior.probability(int(value)),
        (*judged.flags, reason),
        runner_up=str(written) if value != str(written) else judged.runner_up,
        runner_up_confidence=(
            posterior.probability(written) if value != str(written) else judged.runner_up_confidence
        ),
    )
