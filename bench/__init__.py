"""Measurements of speed, run by hand: ratios of one run, never a test. They run as a command does."""

from clogwise.cli import for_short_work

for_short_work()
