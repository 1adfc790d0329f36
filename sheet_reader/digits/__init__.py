"""Room 5, digits: from crops of boxes to class probabilities."""
