"""The balance of soot on the road and what it foretells: how long until the filter blocks again."""
