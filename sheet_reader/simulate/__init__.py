"""Beside the rooms: hands, pens, paper, cameras and light, for demo, tests and benchmarks."""
