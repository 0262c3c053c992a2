"""table.json is what the code and kb/filters.yaml make today: part of it is made again and compared."""

from __future__ import annotations

import numpy as np
import pytest

from inference.burn import make, table
from tests.inference.physics_fakes import knowledge


def test_it_was_made_from_these_bodies() -> None:
    bodies = knowledge().substrates
    assert set(table.table()["figures"]) == set(bodies)
    assert all(table.known_figures(body) for body in bodies.values())
    assert table.table()["loads"] == list(make.LOADS)
    assert table.table()["inlets"] == list(make.INLETS)


@pytest.mark.parametrize(("body", "kind"), [("cordierite", "coated"), ("silicon carbide", "additive")])
def test_peaks_and_strains_are_up_to_date(body: str, kind: str) -> None:
    loads = (4.0, 8.0)
    again = make.flares(knowledge().substrates[body], kind, loads)
    columns = [make.LOADS.index(x) for x in loads]
    for name in ("peak", "crack", "joint"):
        kept = np.array(table.table()[name][body][kind])[:, columns]
        assert getattr(again, name) == pytest.approx(kept, rel=1e-3, abs=1e-9), name


@pytest.mark.parametrize("kind", ["uncoated", "coated_with_scr"])
def test_times_are_up_to_date(kind: str) -> None:
    inlets = (500.0, 600.0)
    done, hot = make.minutes(kind, inlets)
    columns = [make.INLETS.index(x) for x in inlets]
    assert done == pytest.approx(np.array(table.table()["minutes"][kind])[:, columns], rel=1e-3, abs=0.02)
    assert hot == pytest.approx(np.array(table.table()["until_hot"][kind])[:, columns], rel=1e-3, abs=0.02)
