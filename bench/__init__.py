"""Measurements of speed, run by hand: ratios of one run, never a test. They run as a command does."""

import sys

from clogwise.cli import for_short_work

if sys.argv[0] == "-m":  # python -m bench.engine; who borrows something from here is not to be set up anew
    for_short_work()
