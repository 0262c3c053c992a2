"""What was noticed in a recording: a kind and its figures. The sentences stand in explain/lang/en_log.yaml."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

Figure: TypeAlias = float | int | str


@dataclass(frozen=True)
class Note:
    """One thing noticed.

    Parameters
    ----------
    kind : name of the sentence ("sensor_flat")
    values : (slot of the sentence, figure in the unit that the sentence names or text), in order
    """

    kind: str
    values: tuple[tuple[str, Figure], ...] = ()

    @property
    def slots(self) -> dict[str, Figure]:
        """The figures by slot."""
        return dict(self.values)


def note(kind: str, **values: Figure) -> Note:
    """Return a note; keyword arguments fill the slots of its sentence."""
    return Note(kind, tuple(values.items()))
