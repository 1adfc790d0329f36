"""How hard a simulated photograph is: one frozen set of ranges per level."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from sheet_reader.numbers import SIMULATE

LevelName = Literal["easy", "typical", "hard"]
Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Level:
    """Ranges (lowest, highest) from which one photograph draws, and shares (0..1) of photographs
    that have a trouble at all. Lengths are mm on the paper, angles degrees.
    """

    name: LevelName
    long_side_px: tuple[int, ...]
    tilt_deg: Range
    any_rotation: float
    fill: Range
    lens: float
    curl_mm: Range
    folded: float
    fold_deg: Range
    wave_mm: float
    bump_mm: float
    print_scale: Range
    feed_stretch: float
    feed_skew_deg: float
    dithered: float
    stained: float
    thumbs: tuple[float, ...]
    cropped: float
    gradient: Range
    shadow: float
    shadow_gain: Range
    shadow_edge_mm: Range
    glare: float
    glare_peak: Range
    cast: float
    exposure: Range
    blur_mm: Range
    uneven_focus: float
    motion_mm: Range
    noise: Range
    sharpen: Range
    sent_on: float
    quality: tuple[int, int]
    print_px_per_mm: float = SIMULATE.print_px_per_mm

    def small(self, long_side: int) -> Level:
        """The level for pictures of ``long_side`` px alone, from a print that is rastered no finer
        than they can show.
        """
        fine = SIMULATE.print_detail * long_side / SIMULATE.paper_long_mm
        return replace(
            self, long_side_px=(long_side,), print_px_per_mm=min(self.print_px_per_mm, fine)
        )


EASY = Level(
    name="easy",
    long_side_px=(4000, 3264),
    tilt_deg=(0, 8),
    any_rotation=0.0,
    fill=(0.85, 0.95),
    lens=0.01,
    curl_mm=(0, 1),
    folded=0.0,
    fold_deg=(0, 0),
    wave_mm=0.1,
    bump_mm=0.03,
    print_scale=(0.97, 1.0),
    feed_stretch=0.0003,
    feed_skew_deg=0.05,
    dithered=0.5,
    stained=0.0,
    thumbs=(1.0,),
    cropped=0.0,
    gradient=(0.0, 0.15),
    shadow=0.0,
    shadow_gain=(0.9, 1.0),
    shadow_edge_mm=(20, 40),
    glare=0.0,
    glare_peak=(0, 0),
    cast=0.03,
    exposure=(175, 235),
    blur_mm=(0.03, 0.07),
    uneven_focus=0.0,
    motion_mm=(0, 0.03),
    noise=(0.5, 2.0),
    sharpen=(0.0, 0.5),
    sent_on=0.0,
    quality=(85, 95),
)

TYPICAL = Level(
    name="typical",
    long_side_px=(4000, 4000, 3264, 2560, 2048),
    tilt_deg=(2, 22),
    any_rotation=0.15,
    fill=(0.72, 0.95),
    lens=0.03,
    curl_mm=(0.3, 4),
    folded=0.3,
    fold_deg=(1.5, 4),
    wave_mm=0.25,
    bump_mm=0.12,
    print_scale=(0.90, 1.0),
    feed_stretch=0.0015,
    feed_skew_deg=0.2,
    dithered=0.6,
    stained=0.12,
    thumbs=(0.75, 0.2, 0.05),
    cropped=0.06,
    gradient=(0.05, 0.35),
    shadow=0.5,
    shadow_gain=(0.5, 0.85),
    shadow_edge_mm=(1.5, 40),
    glare=0.12,
    glare_peak=(0.15, 0.5),
    cast=0.08,
    exposure=(150, 235),
    blur_mm=(0.05, 0.14),
    uneven_focus=0.2,
    motion_mm=(0, 0.10),
    noise=(1.0, 4.0),
    sharpen=(0.0, 1.0),
    sent_on=0.15,
    quality=(75, 95),
)

HARD = Level(
    name="hard",
    long_side_px=(2048, 1600, 1600),
    tilt_deg=(12, 35),
    any_rotation=0.35,
    fill=(0.76, 0.95),
    lens=0.06,
    curl_mm=(3, 9),
    folded=0.6,
    fold_deg=(3, 8),
    wave_mm=0.4,
    bump_mm=0.3,
    print_scale=(0.90, 1.0),
    feed_stretch=0.003,
    feed_skew_deg=0.35,
    dithered=0.8,
    stained=0.35,
    thumbs=(0.4, 0.4, 0.2),
    cropped=0.2,
    gradient=(0.2, 0.6),
    shadow=0.8,
    shadow_gain=(0.3, 0.7),
    shadow_edge_mm=(0.5, 15),
    glare=0.35,
    glare_peak=(0.3, 1.2),
    cast=0.16,
    exposure=(110, 245),
    blur_mm=(0.08, 0.22),
    uneven_focus=0.4,
    motion_mm=(0, 0.2),
    noise=(2.0, 7.0),
    sharpen=(0.0, 1.6),
    sent_on=0.5,
    quality=(60, 88),
)

LEVELS: dict[str, Level] = {level.name: level for level in (EASY, TYPICAL, HARD)}
