"""Measured walls in, quantities and verdicts out: no files but its own data tables, no clock, no printing."""
