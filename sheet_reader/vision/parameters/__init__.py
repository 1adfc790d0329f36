"""The thresholds of this room, with unit and origin; one frozen object holds all of them.

How results change with the ten most influential ones stands in DEVELOPERS.md
(``python -m sheet_reader.lab.sensitivity``). The size of a crop and what it shows are no thresholds
but the format that the digits room reads: ``types.py``.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from sheet_reader.vision.parameters.boxes import (
    BoxInkParameters,
    CropParameters,
    PrintCheckParameters,
    QualityParameters,
    ViewParameters,
)
from sheet_reader.vision.parameters.finding import (
    CodeParameters,
    FindParameters,
    GroupingParameters,
    IdentifyParameters,
    MarkerParameters,
    ModuleParameters,
    OtherPrintParameters,
    PointedParameters,
    PrintedParameters,
    SeekParameters,
)
from sheet_reader.vision.parameters.geometry import (
    FlattenParameters,
    LocateParameters,
    MatchParameters,
    SurfaceParameters,
    TemplateParameters,
)

__all__ = ["VISION", "VisionParameters"]


@dataclass(frozen=True, slots=True)
class VisionParameters:
    """All of the room, by module."""

    markers: MarkerParameters = field(default_factory=MarkerParameters)
    seek: SeekParameters = field(default_factory=SeekParameters)
    grouping: GroupingParameters = field(default_factory=GroupingParameters)
    find: FindParameters = field(default_factory=FindParameters)
    identify: IdentifyParameters = field(default_factory=IdentifyParameters)
    codes: CodeParameters = field(default_factory=CodeParameters)
    modules: ModuleParameters = field(default_factory=ModuleParameters)
    printed: PrintedParameters = field(default_factory=PrintedParameters)
    other_print: OtherPrintParameters = field(default_factory=OtherPrintParameters)
    pointed: PointedParameters = field(default_factory=PointedParameters)
    surface: SurfaceParameters = field(default_factory=SurfaceParameters)
    template: TemplateParameters = field(default_factory=TemplateParameters)
    match: MatchParameters = field(default_factory=MatchParameters)
    flatten: FlattenParameters = field(default_factory=FlattenParameters)
    locate: LocateParameters = field(default_factory=LocateParameters)
    crops: CropParameters = field(default_factory=CropParameters)
    box_ink: BoxInkParameters = field(default_factory=BoxInkParameters)
    quality: QualityParameters = field(default_factory=QualityParameters)
    view: ViewParameters = field(default_factory=ViewParameters)
    print_check: PrintCheckParameters = field(default_factory=PrintCheckParameters)


VISION = VisionParameters()
"""In force. Functions look values up when they are called: the laboratory tries others."""
