"""What to do next: tests and repairs put in the order that is expected to cost least until the vehicle is cured."""
