"""Room 2, sheet: where everything stands on the printed page, its codes, the PDF."""
