"""Classifies box crops: digit, empty, struck, several, other; with calibrated probabilities."""

from sheet_reader.digits.again import read_sheet
from sheet_reader.digits.read import read_boxes
from sheet_reader.digits.types import CLASSES, BoxReadings

__all__ = ["CLASSES", "BoxReadings", "read_boxes", "read_sheet"]
