"""The knowledge of clogwise: YAML facts and rules, their typed model and the only reader of them.

Flow: ``yamlread`` (text to data with line numbers) -> ``model`` (typed, checked) -> ``load`` (all files,
all faults at once) -> ``Knowledge``, which every other house takes as given.
"""

__version__ = "0.1.0"
