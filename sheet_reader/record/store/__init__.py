"""The record as a place: engine, schema, steps, checksums, opening, claims."""
