"""``python -m clogwise``."""

from clogwise.cli import main

main()
