"""The parts of the knowledge a case is read with, straight from their files, for tests of the case side."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from kb import model
from kb.codes import expand_families
from kb.yamlread import read_yaml

HOME = Path(model.__file__).parent
FILES: dict[str, tuple[str, str, type[model.Entry]]] = {
    "readings": ("readings.yaml", "", model.Reading),
    "questions": ("questions.yaml", "", model.Question),
    "layouts": ("layouts.yaml", "", model.Layout),
    "filter_types": ("filters.yaml", "filter_types", model.FilterType),
    "substrates": ("filters.yaml", "substrates", model.Substrate),
    "code_groups": ("codes.yaml", "code_groups", model.CodeGroup),
}
# the ids of DESIGN section 7 that these tests name; what a cause says of itself does not matter here
CAUSES = ("thermostat_stuck_open", "ash_full", "wrong_oil", "egr_stuck_open", "pressure_hose_fault")


@lru_cache(maxsize=1)
def knowledge() -> model.Knowledge:
    """Return a Knowledge with everything that reading a case and laying out its facts needs."""
    parts: dict[str, dict[str, Any]] = {}
    for table, (file, key, kind) in FILES.items():
        data = read_yaml(HOME / file).data
        parts[table] = {e["id"]: kind.model_validate(e) for e in (data[key] if key else data)}
    data = read_yaml(HOME / "codes.yaml").data
    codes = [model.Code.model_validate(c) for c in data.get("codes", [])]
    codes += list(expand_families([model.CodeFamily.model_validate(f) for f in data.get("families", [])]))
    remedies = [model.Remedy.model_validate(r) for r in read_yaml(HOME / "remedies.yaml").data]
    parts["remedies"] = {r.id: r for r in remedies if r.id.startswith("oil-change")}  # jobs of no cause
    causes = {c: model.Cause.model_construct(id=c, title=c.replace("_", " "), remedy="") for c in CAUSES}
    return model.Knowledge.model_construct(
        **parts, codes={c.code: c for c in codes}, causes=causes, derived={}, rules={}, findings={}
    )
