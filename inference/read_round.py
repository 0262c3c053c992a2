"""One round of a case out of its YAML: readings at their conditions, answers, trouble codes, work done."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from inference.case import STATUSES, WHENS, CodesCleared, Quantity, Round, SeenCode
from inference.read_fields import Fields, shown
from kb.faults import nearest
from kb.model import Knowledge, Reading

ROUND_KEYS = (
    "when", "date", "odometer", "readings", "answers", "codes", "codes_cleared", "monitors_complete",
    "burn_completed", "repaired", "notes",
)  # fmt: skip
MAX_KM = 3_000_000.0
_CODE = re.compile(r"[PBCU][0-3][0-9A-F]{3}")  # SAE J2012 / ISO 15031-6 form
_CODE_AND_KIND = re.compile(r"([PBCU][0-3][0-9A-F]{3})-[0-9A-F]{2}")  # with the failure type byte behind it


def read_round(
    fields: Fields, path: str, raw: Any, index: int, usage: Mapping[str, Quantity], knowledge: Knowledge
) -> Round:
    """Read ``rounds.<index>``; what cannot be read is a fault in ``fields`` and left out of the round."""
    if raw is None:
        fields.fault(path, f"nothing stands in this round; write at least when: {', '.join(WHENS)}")
    at = fields.mapping(path, raw, ROUND_KEYS, hints=lambda: _astray(knowledge))
    when = fields.choice(f"{path}.when", at.get("when"), WHENS)
    if when is None and at.get("when") is None and isinstance(raw, dict):
        if index == 0:
            when = "arrival"
        else:
            fields.fault(path, f"this round does not say when; write when: and one of {', '.join(WHENS[1:])}")
    odometer = fields.quantity(f"{path}.odometer", at.get("odometer"), "km", 0, MAX_KM)
    codes = read_codes(fields, f"{path}.codes", at["codes"]) if "codes" in at else None
    for i, seen in enumerate(codes or ()):
        if seen.harmless and seen.code in knowledge.codes:
            says = f"{seen.code} is known here ({knowledge.codes[seen.code].meaning}); leave looked_up: out"
            fields.fault(f"{path}.codes.{i}", says)
    done = read_causes(fields, f"{path}.repaired", at.get("repaired"), knowledge, jobs_of(knowledge))
    return Round(
        index=index,
        when=when or "follow-up",
        date=fields.date(f"{path}.date", at.get("date")),
        odometer_km=odometer.value if odometer else None,
        readings=read_readings(fields, f"{path}.readings", at.get("readings"), knowledge),
        usage=usage,
        answers=read_answers(fields, f"{path}.answers", at.get("answers"), knowledge),
        codes=codes,
        codes_cleared=_cleared(fields, f"{path}.codes_cleared", at.get("codes_cleared")),
        monitors_complete=fields.yes_no(f"{path}.monitors_complete", at.get("monitors_complete")),
        burn_completed=fields.yes_no(f"{path}.burn_completed", at.get("burn_completed")),
        repaired=tuple(name for name in done if name in knowledge.causes),
        jobs=tuple(name for name in done if name not in knowledge.causes),
        notes=fields.text(f"{path}.notes", at.get("notes")),
        line=fields.doc.line(path),
    )


def _astray(knowledge: Knowledge) -> dict[str, str]:
    """Return a sentence for each name that is known but does not stand straight in a round."""
    out = {r: f"'{r}' is a reading; write it under readings:" for r in knowledge.readings}
    return out | {q: f"'{q}' is a question; write it under answers:" for q in knowledge.questions}


def read_readings(fields: Fields, path: str, raw: Any, knowledge: Knowledge) -> dict[str, Quantity]:
    """Read readings by slot (``gauge_pressure.idle``; bare id where the reading has no condition)."""
    known = knowledge.round_readings

    def hints() -> dict[str, str]:
        out = {id_: f"'{id_}' belongs under usage: at the top of the case" for id_ in knowledge.readings}
        return out | {q: f"'{q}' is a question; write it under answers:" for q in knowledge.questions}

    def titles() -> dict[str, str]:
        return {id_: r.title for id_, r in known.items()}

    out: dict[str, Quantity] = {}
    for id_, value in fields.mapping(path, raw, known, hints=hints, titles=titles).items():
        for slot, condition, inside in _by_condition(fields, f"{path}.{id_}", value, known[id_]):
            where = f"{path}.{slot}" if isinstance(value, dict) else f"{path}.{id_}"
            found = fields.reading(where, inside, known[id_], condition)
            if found is not None:
                out[slot] = found
    return out


def _by_condition(fields: Fields, path: str, value: Any, what: Reading) -> list[tuple[str, str, Any]]:
    """Return (slot, condition, figure) for each condition; a bare figure serves where there is only one."""
    if value is None:
        return []
    if not what.conditions:
        if isinstance(value, dict):
            says = f"{what.id} takes no condition; write '{what.id}: 12 {what.unit}'"
            fields.fault(path, says if what.unit != "1" else f"{what.id} takes no condition; write '{what.id}: 12'")
            return []
        return [(what.id, "any", value)]
    if isinstance(value, dict):
        given = fields.mapping(path, value, what.conditions)
        return [(f"{what.id}.{c}", c, inside) for c, inside in given.items()]
    if len(what.conditions) == 1:
        return [(f"{what.id}.{what.conditions[0]}", what.conditions[0], value)]
    example = f"{{{what.conditions[-1]}: {value if isinstance(value, str) else '...'}}}"
    says = f"{shown(value)} does not say when it was read; write {what.id}: {example[:60]}, with one or more of "
    fields.fault(path, says + ", ".join(what.conditions))
    return []


def read_usage(fields: Fields, path: str, raw: Any, knowledge: Knowledge) -> dict[str, Quantity]:
    """Read how the vehicle is driven, by id."""
    known = knowledge.usage_figures

    def hints() -> dict[str, str]:
        return {id_: f"'{id_}' is a reading of a round; write it under its readings:" for id_ in knowledge.readings}

    out: dict[str, Quantity] = {}
    for id_, value in fields.mapping(path, raw, known, hints=hints).items():
        found = fields.reading(f"{path}.{id_}", value, known[id_], "any")
        if found is not None:
            out[id_] = found
    return out


def read_answers(fields: Fields, path: str, raw: Any, knowledge: Knowledge) -> dict[str, str]:
    """Read answers by question; "unknown" is kept, since it withdraws an earlier answer."""

    def hints() -> dict[str, str]:
        return {r: f"'{r}' is a reading; write it under readings:" for r in knowledge.readings}

    def titles() -> dict[str, str]:
        return {id_: q.text for id_, q in knowledge.questions.items()}

    out: dict[str, str] = {}
    for id_, value in fields.mapping(path, raw, knowledge.questions, hints=hints, titles=titles).items():
        if isinstance(value, bool):  # true and false are taken for yes and no
            value = "yes" if value else "no"
        options = [*knowledge.questions[id_].options, "unknown"]
        said = fields.choice(f"{path}.{id_}", value, options)
        if said is not None:
            out[id_] = said
    return out


def read_codes(fields: Fields, path: str, raw: Any) -> tuple[SeenCode, ...] | None:
    """Read trouble codes; an empty list means read and none found, so nothing at all is a fault."""
    if raw is None:
        says = "nothing stands here; write [] if the codes were read and there was none, or leave the line out"
        fields.fault(path, says)
        return None
    out: list[SeenCode] = []
    for i, item in enumerate(fields.listing(path, raw, "codes such as P2463")):
        where = f"{path}.{i}"
        at = item if isinstance(item, dict) else {"code": item}
        at = fields.mapping(where, at, ("code", "status", "looked_up"))
        code = _code(fields, f"{where}.code" if isinstance(item, dict) else where, at.get("code"))
        status = fields.choice(f"{where}.status", at.get("status"), STATUSES) or "stored"
        if code is None:
            continue
        if any(seen.code == code and seen.status == status for seen in out):
            fields.fault(where, f"{code} ({status}) stands here twice; keep one")
            continue
        found = fields.choice(f"{where}.looked_up", at.get("looked_up"), ("harmless",))
        out.append(SeenCode(code, status, fields.doc.line(where), found is not None))
    return tuple(out)


def _code(fields: Fields, path: str, value: Any) -> str | None:
    wanted = "a letter P, B, C or U, a figure from 0 to 3 and three more (0 to 9, A to F), such as P2463, are wanted"
    if not isinstance(value, str):
        fields.fault(path, f"{shown(value)} is no trouble code; {wanted}")
        return None
    code = value.strip().upper()
    if with_kind := _CODE_AND_KIND.fullmatch(code):
        return with_kind[1]
    if _CODE.fullmatch(code):
        return code
    swapped = code[:1] + code[1:].replace("O", "0").replace("I", "1")
    hint = f" (did you mean '{swapped}'?)" if swapped != code and _CODE.fullmatch(swapped) else ""
    fields.fault(path, f"{shown(value)} is no trouble code; {wanted}{hint}")
    return None


def _cleared(fields: Fields, path: str, raw: Any) -> CodesCleared:
    at = fields.mapping(path, raw, ("distance", "warm_ups"))
    distance = fields.quantity(f"{path}.distance", at.get("distance"), "km", 0, MAX_KM)
    warm_ups = fields.quantity(f"{path}.warm_ups", at.get("warm_ups"), "1", 0, 100_000)
    return CodesCleared(distance.value if distance else None, warm_ups.value if warm_ups else None)


def jobs_of(knowledge: Knowledge) -> frozenset[str]:
    """Return the jobs that ``repaired`` may name beside causes: those that belong to no cause (an oil change)."""
    return frozenset(knowledge.remedies) - {cause.remedy for cause in knowledge.causes.values()}


def _meant(item: Any, known: Sequence[str], knowledge: Knowledge) -> str:
    """What a wrong name may have meant: the causes and jobs that share most of its words, else one spelt like it."""
    bare = "; write one such as thermostat_stuck_open"
    if not isinstance(item, str):
        return bare
    words = [w for w in re.split(r"[^a-z0-9]+", item.lower()) if len(w) > 2]
    titles = {k: v.title for k, v in knowledge.remedies.items()} | {k: v.title for k, v in knowledge.causes.items()}
    shared = {k: sum(bool(re.search(rf"(?<![a-z]){w}", f"{k} {titles[k]}".lower())) for w in words) for k in known}
    most = max(shared.values())
    fit = [k for k in known if most and shared[k] == most]
    near = nearest(item, known)
    if len(fit) > 1:
        return f" (it may be one of: {', '.join(fit[:8])})"
    return near or (f" (did you mean '{fit[0]}'?)" if fit else bare)


def read_causes(
    fields: Fields, path: str, raw: Any, knowledge: Knowledge, jobs: frozenset[str] = frozenset()
) -> tuple[str, ...]:
    """Read a list of cause ids, each known and named once; ``jobs`` may stand among them."""
    known = (*knowledge.causes, *sorted(jobs))
    out: list[str] = []
    for i, item in enumerate(fields.listing(path, raw, "cause ids such as thermostat_stuck_open")):
        where = f"{path}.{i}"
        if not isinstance(item, str) or item not in known:
            what = "no known cause or job" if jobs else "no known cause"
            fields.fault(where, f"{shown(item)} is {what}{_meant(item, known, knowledge)}")
        elif item in out:
            fields.fault(where, f"'{item}' stands here twice; keep one")
        else:
            out.append(item)
    return tuple(out)
