"""Room 5, digits: classifies box crops (digit, empty, struck, several, other); with calibrated
probabilities.
"""
