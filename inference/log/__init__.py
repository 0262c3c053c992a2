"""Recorded drives: a logger's file in, readings of a round and what was noticed out."""
