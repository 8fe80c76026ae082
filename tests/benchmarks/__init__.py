"""Measured ratios against general-purpose optimisers: `python -m tests.benchmarks [--quick]`."""
