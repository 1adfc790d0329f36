"""A Darwin Core Archive: events with occurrences, measurements and what was looked for.

Terms are those of the lists that rs.gbif.org published on 2025-07-10 (Event core; extensions
Occurrence, MeasurementOrFact and Humboldt Ecological Inventory); meta.xml follows TDWG's text
guide, eml.xml the Ecological Metadata Language 2.2.0.
"""
