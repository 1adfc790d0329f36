"""The thresholds of this room, with unit and origin; one frozen object holds all of them.

Each module binds those that it uses to the names of its formulas. Sampling tables of a standard
stay in ``audit_plan.py``, the shape of addition errors by size in ``sums.py``.
"""

from __future__ import annotations

from dataclasses import dataclass

from sheet_reader.parameters import parameter

_ASSUMED = "choice: an assumption of this house"
_HANDS = "measured: chosen on simulated photographs of the writer model's people"
_CHOICE = "measured: simulated photographs with troubles, by the writers of the role choice"
_DEVELOPMENT = "measured: chosen on simulated photographs of the development writers"


@dataclass(frozen=True, slots=True)
class DecodeParameters:
    """All of the room, in the order of its modules."""

    tolerated_offset_mm: float = parameter(
        1.5,
        "mm",
        "choice: from the box gap of 2 mm and the crop margin of 1 mm",
        "a crop further off shows too little",
    )
    faintest_contrast: float = parameter(
        0.06, "share of paper", _ASSUMED, "below it ink cannot be told from paper"
    )
    worst_blur_mm: float = parameter(
        1.5, "mm", _ASSUMED, "standard deviation that merges the strokes of a digit"
    )
    probability_floor: float = parameter(
        1e-9,
        "probability",
        "choice: no class of any box is ever quite impossible",
        "added to each class",
    )
    ink_sure: float = parameter(
        0.9, "probability", _ASSUMED, "of holding a digit: the box then tells of the sheet's ink"
    )
    ink_examples: int = parameter(3, "boxes", _ASSUMED, "fewest that tell of the sheet's ink")
    stroke_sd_mm: float = parameter(
        0.25, "mm", "choice: a pen's line of 0.5 to 0.9 mm", "standard deviation across a stroke"
    )
    ink_gate: float = parameter(
        0.45,
        "share of the sheet's stroke",
        _CHOICE,
        "an empty box with as much may hold ink, a digit with less may be the page behind",
    )
    seen_stroke: float = parameter(
        0.075, "share of paper", _CHOICE, "no empty box has as dark a stroke, whatever the pen"
    )
    pale_stroke: float = parameter(
        0.11, "share of paper", _CHOICE, "a sheet with paler strokes is near the limit of sight"
    )
    noise_strokes: float = parameter(
        7.0,
        "standard deviations",
        _CHOICE,
        "of the paper's noise: no empty box has as dark a stroke by chance",
    )
    gap_share: float = parameter(
        0.3,
        "share of the sheet's stroke",
        _CHOICE,
        "as dark a stroke between tally space and box is on its way",
    )
    gap_noises: float = parameter(
        2.9, "standard deviations", _CHOICE, "of the paper's noise: a fainter one there is none"
    )
    gap_stroke: float = parameter(
        0.2, "share of paper", _ASSUMED, "the same where the sheet's ink is not known"
    )
    edge_share: float = parameter(
        0.4, "share of the sheet's stroke", _CHOICE, "darker frame beside a 1: a tally stroke on it"
    )
    edge_stroke: float = parameter(0.08, "share of paper", _CHOICE, "a frame no darker is bare")
    leaving_mm: float = parameter(
        0.5, "mm", _ASSUMED, "a stroke that reaches as far beyond the frame leaves its box"
    )
    leaving_doubt: float = parameter(
        5.0,
        "times",
        "measured: 3 of 284 accepted fields with such strokes were wrong, 17 of 9,027 of all",
        "the doubt in a field with a stroke that leaves its box",
    )
    clear_digit: float = parameter(
        0.9, "probability", _ASSUMED, "a digit with less counts as doubtful for the whole sheet"
    )
    usual_doubtful: float = parameter(
        0.05,
        "share of digits",
        "measured: on 108 simulated sheets of the choice writers confidences hold up to here",
        "that are doubtful on a usual sheet",
    )
    writer_trust: float = parameter(
        0.5, "power", _CHOICE, "of the likelihood ratio of the writer's own hand"
    )
    writer_trust_given: float = parameter(
        0.5, "power", _HANDS, "the same where digits of known truth are given from elsewhere"
    )
    writer_tails: float = parameter(
        4.0, "degrees of freedom", _DEVELOPMENT, "of Student's distribution"
    )
    writer_sure: float = parameter(
        0.999, "probability", _ASSUMED, "boxes count as examples of a digit from here on"
    )
    row_contradiction: float = parameter(
        7.0,
        "log ratio",
        _HANDS,
        "a box of the row of ten that looks by more like another digit is no example",
    )
    row_odd_boxes: int = parameter(
        3, "boxes", _HANDS, "where more look like other digits the row is not used"
    )
    row_struck_like: float = parameter(
        0.01,
        "probability",
        _ASSUMED,
        "of being struck out, from which on a digit of the row says so of the hand",
    )
    row_fits: float = parameter(
        0.0,
        "log ratio per digit",
        _HANDS,
        "the row of ten is the sheet's hand from here on: 99 of 100 are",
    )
    hand_fits: float = parameter(
        1.5,
        "log ratio per digit",
        _HANDS,
        "an earlier sheet is by the same hand from here on: 19 of 20 are, 3 of 10 by others",
    )
    hand_digits: int = parameter(
        5, "digits", _ASSUMED, "a sheet must share with a hand for it to be tried"
    )
    remembered_sheets: int = parameter(6, "sheets", _ASSUMED, "of a site that are looked back on")
    settled: float = parameter(
        0.999,
        "confidence",
        _ASSUMED,
        "from which an accepted field of an earlier sheet tells which digits its boxes hold",
    )
    writer_floor: float = parameter(
        1e-30, "probability", "choice: keeps the logarithm finite", "least probability of a digit"
    )
    crossed_out: float = parameter(
        0.99,
        "probability",
        "choice: a crossed 7 left out makes a number ten times too small",
        "from which a box is plainly struck, the next a digit and another empty",
    )
    gap_weight: float = parameter(0.1, "weight", _ASSUMED, "of a number with an empty box inside")
    exact_boxes: int = parameter(
        4,
        "boxes",
        "choice: 12^4 sequences are few enough to sum them all",
        "up to so many all sequences are summed",
    )
    beam: int = parameter(
        1500, "sequences", "choice: bounds time and memory of longer fields", "prefixes kept"
    )
    negligible: float = parameter(
        1e-9,
        "probability",
        "choice: far below any threshold",
        'less probable values are not listed; their mass goes to "something else"',
    )
    contradiction: float = parameter(
        0.2,
        "ratio",
        _ASSUMED,
        "a reading less probable than this times the best by the boxes alone "
        "is never accepted on outside knowledge: the paper says something else, so a person is "
        "asked",
    )
    off_sites: float = parameter(
        0.01, "share of sheets", _ASSUMED, "whose number is not on the site list"
    )
    odd_date: float = parameter(
        0.01, "share of sheets", _ASSUMED, "with an impossible or untimely date"
    )
    date_offer: float = parameter(
        1e-3,
        "likelihood ratio",
        _ASSUMED,
        "from which a possible day is offered in place of an impossible one",
    )
    odd_count: float = parameter(0.02, "weight", _ASSUMED, "of a count outside its range")
    history_discount: float = parameter(
        0.3, "weight", _ASSUMED, "of an old count (the power prior)"
    )
    even_share: float = parameter(
        0.5, "share", _ASSUMED, "of the history's prior that is even over all counts"
    )
    addition_error: float = parameter(
        0.03,
        "share of totals",
        "choice: an assumption; no published rate for volunteers was found",
        "added wrongly",
    )
    repair_error: float = parameter(
        0.005,
        "probability",
        _ASSUMED,
        "a total or part is repaired only where an addition error is less probable",
    )
    sum_settles: float = parameter(
        4.0,
        "times",
        "measured: of 1,500 made-up wrong totals the sum then misleads one reading, before eight",
        "that a sum that fits may lessen the doubt in a field",
    )
    real_doubt: float = parameter(
        0.003,
        "probability",
        _ASSUMED,
        "alternatives below are the reader's noise floor, not a look-alike",
    )
    usable: float = parameter(
        0.95, "probability", _ASSUMED, "that each field of a sum must have of being a number"
    )
    other_digit: float = parameter(
        0.18, "share of addition errors", _ASSUMED, "one digit of the total is another"
    )
    swapped: float = parameter(0.10, "share of addition errors", _ASSUMED, "neighbours swapped")
    left_out: float = parameter(
        0.16, "share of addition errors", _ASSUMED, "a part left out or taken twice"
    )
    key_doubt: float = parameter(
        1.0 / 4.0,
        "share",
        "choice: site and date place the whole sheet, a wrong one spoils some twenty counts",
        "of the doubt allowed in a count that they may have",
    )
    known: float = parameter(
        0.99,
        "probability",
        _ASSUMED,
        "from which a site or a date tells which digits its boxes hold",
    )
    conservative: float = parameter(
        0.999,
        "confidence",
        "choice: cautious, where nothing can be promised",
        "a field is asked about unless the model gives it so much",
    )
    start: float = parameter(
        0.999,
        "confidence",
        "choice: as cautious, where no pilot data say better",
        "where testing starts",
    )
    delta: float = parameter(
        0.05, "probability", "standard: one-sided 95 % bounds", "that a promise is wrong"
    )
    pilot_more_errors: float = parameter(
        5.0, "errors", _ASSUMED, "more than the pilot showed are spread over the thresholds"
    )
    error_shape: float = parameter(
        0.1,
        "gamma shape",
        "choice: the least that the promise is kept for; test hands showed 0.2 to 0.5",
        "how unevenly people are misread, at worst",
    )
    site_shapes: tuple[float, ...] = parameter(
        (0.1, 0.3, 1.0, 1000.0),
        "beta shape",
        "choice: from the least of error_shape to all alike",
        "how unlike sites may be, in audits",
    )
    worse: tuple[float, ...] = parameter(
        (2.0, 5.0, 15.0, 50.0), "times the allowed error", _ASSUMED, "what an alarm looks for"
    )
    better: tuple[float, ...] = parameter(
        (0.03, 0.1, 0.3), "times the allowed error", _ASSUMED, "what a confirmation looks for"
    )
    odd_share: float = parameter(
        0.01, "share", "choice: the most that the worst hand may be misread", "of an odd site"
    )
    few_sites: float = parameter(
        0.1, "share", _ASSUMED, "up to which odd sites are told apart instead of an alarm for all"
    )
    weaker: tuple[float, ...] = parameter(
        (10.0, 5.0, 3.0, 2.0, 1.5),
        "times the accepted error",
        _ASSUMED,
        "weaker promises that are tried in turn where the accepted error can't be promised",
    )
    most_doubt: float = parameter(
        9.0,
        "powers of ten",
        "choice: finer confidences are not kept in the file",
        "largest doubt of a checked field",
    )
    kept_floor: float = parameter(
        1e-30,
        "probability",
        "choice: 0 has no logarithm",
        "in place of 0 in what is kept of a page",
    )


DECODE = DecodeParameters()
"""In force."""
