"""The job sheet: what a technician takes to the vehicle, as data for the page, as PDF, as HTML and as pictures.

Decision and what blocks it, readings against what is expected, causes with their evidence, the order of work with
tick boxes and the value that proves each step, dangers where they arise, blanks for after the work, and the chain.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from explain.bands import Bounds, Row, described, key, picture, quantity_range, rows
from explain.chain import build
from explain.chainfit import fit
from explain.draw import describe, to_svg
from explain.look import DECISION, sign
from explain.papers.printing import Printer, cut
from explain.papers.typeset import pages, to_pdf, to_pngs
from explain.secondlook import second_look
from explain.terminal import percent, spared_by
from explain.tests_shown import tests_shown
from explain.words import Speaker, figure, phrases, quantity, round_names, round_told, say
from inference.belief.evidence import COMPLAINT
from inference.result import CauseResult, GateReason, Result, WorkStep
from inference.values import Number
from kb import __version__
from kb.model import Knowledge, Remedy

LONGEST = 3  # pages
# From roomy to tight, tried until the sheet fits: readings drawn, evidence for a cause, steps of each job, cautions
# told in full, other readings and answers named, tests named, letters [tenths of a point]
TIGHTNESS: tuple[Mapping[str, int], ...] = (
    {"bands": 16, "evidence": 4, "steps": 9, "cautions": 99, "rest": 99, "answers": 99, "next": 4, "size": 86},
    {"bands": 12, "evidence": 3, "steps": 9, "cautions": 5, "rest": 0, "answers": 0, "next": 3, "size": 86},
    {"bands": 9, "evidence": 2, "steps": 9, "cautions": 4, "rest": 0, "answers": 0, "next": 3, "size": 82},
    {"bands": 9, "evidence": 2, "steps": 3, "cautions": 4, "rest": 0, "answers": 0, "next": 3, "size": 82},
    {"bands": 9, "evidence": 2, "steps": 0, "cautions": 4, "rest": 0, "answers": 0, "next": 3, "size": 80},
    {"bands": 7, "evidence": 1, "steps": 0, "cautions": 3, "rest": 0, "answers": 0, "next": 2, "size": 78},
)
BLANKS = ("gauge_pressure.idle", "gauge_pressure.fast_idle", "sensor_pressure.fast_idle", "coolant_temperature.road",
          "oil_level", "distance_since_burn")  # fmt: skip


def sheet(knowledge: Knowledge, result: Result, room: Mapping[str, int] = TIGHTNESS[0]) -> dict[str, Any]:
    """Return all that stands on the sheet but the chain, as data: texts as they are, pictures as SVG.

    In a tight ``room`` the readings and answers that no finding of the chain rests on are left out.
    """
    k, r = knowledge, result
    all_rows = rows(k, r)
    drawn = [x for x in all_rows if x.banded][: room["bands"]]
    rest = [x for x in all_rows if x not in drawn and not x.worked_out]
    word = phrases()["decision"][r.gate.decision]
    name = cut(r.case.name, 60)
    return {
        "words": dict(phrases()["sheet"]),
        "title": say("sheet.title", case=name),
        "case": name,
        "head": head(k, r),
        "complaint": cut(r.case.complaint, 300),
        "notes": [cut(n, 400) for n in (r.case.notes, *(x.notes for x in r.case.rounds)) if n][:3],
        "burn_ahead": r.gate.decision in ("clear", "hold"),
        "decision": {
            "word": str(word), "line": str(phrases()["decision_line"][r.gate.decision]),
            "id": r.gate.decision.replace(" ", "-"), "sign": sign(r.gate.decision, 48),
            "ink": DECISION[r.gate.decision], **_reasons(k, r),
        },
        "driving": r.gate.driving,
        "bands": [
            {"title": x.title, "told": x.told, "expected": x.expected, "svg": picture(x), "worked": x.worked_out,
             "before": x.before_told, "verdict": str(phrases()["band"]["verdict"][x.verdict]), "alt": described(x),
             "earlier": say("band.read_earlier", round=x.earlier) if x.earlier else ""}
            for x in drawn
        ],
        "key": key(),
        "rest": [f"{x.title}: {x.told}" for x in rest if not x.earlier][: room["rest"]],
        "answers": _answers(k, r)[""][: room["answers"]],
        "earlier": _earlier(k, r, rest) if room["rest"] else [],
        "codes": _codes(k, r),
        "causes": _causes(k, r, room["evidence"]),
        "none_listed": say("sheet.none_listed", percent=percent(r.none_listed)),
        "next": _next(k, r, room["next"]),
        "work": _jobs(k, r, room["steps"]),
        "cautions": _cautions(k, r, room["cautions"]),
        "size": room["size"] / 10,
        "warnings": second_look(k, r),
        "blanks": _blanks(k, r, all_rows),
        "foot": say("sheet.foot", case=name, version=__version__, hash=r.knowledge_hash[:12]),
    }  # fmt: skip


def chain_of(knowledge: Knowledge, result: Result) -> dict[str, Any]:
    """Return the chain's picture for the last page, the same in words, and whether that page stands upright."""
    graph = fit(build(knowledge, result), result)
    name = cut(result.case.name, 60)
    told = describe(graph, name)
    return {"svg": to_svg(graph, name, told, heading=False), "alt": told, "upright": graph.graph["upright"]}


def pdf(knowledge: Knowledge, result: Result, paper: str = "a4") -> bytes:
    """Return the sheet as PDF, on three pages at most.

    Parameters
    ----------
    paper : "a4" or "us-letter"
    """
    return to_pdf("sheet.typ", _fitted(knowledge, result, paper), result.case.today)


def pngs(knowledge: Knowledge, result: Result, paper: str = "a4", ppi: int = 110) -> list[bytes]:
    """Return the sheet's pages as pictures."""
    return to_pngs("sheet.typ", _fitted(knowledge, result, paper), ppi)


def html(knowledge: Knowledge, result: Result) -> str:
    """Return the sheet as one self-contained HTML page."""
    from explain.chainhtml import environment, raw

    data = sheet(knowledge, result) | {"chain": chain_of(knowledge, result)}
    return environment().get_template("sheet.html").render(**data, css=raw("paper.css"))


def _fitted(knowledge: Knowledge, result: Result, paper: str) -> dict[str, Any]:
    """Return the sheet's data in the roomiest form that keeps to the pages allowed."""
    data: dict[str, Any] = {}
    chain = chain_of(knowledge, result)
    for room in TIGHTNESS:
        printer = Printer()
        data = printer.fit(sheet(knowledge, result, room))
        data |= {"chain": {**printer.fit(chain)}, "paper": paper}
        data["lost"] = printer.note
        if pages("sheet.typ", data) <= LONGEST:
            break
    return data


def head(knowledge: Knowledge, result: Result) -> list[list[str]]:
    """Return what is known of the vehicle and the filter, as label and text; what is not known has no line."""
    case, latest, words = result.case, result.case.rounds[-1], phrases()["sheet"]["head"]
    vehicle = [
        quantity(case.engine_litres, "l") if case.engine_litres else "",
        case.emission_class, case.gearbox or "",
    ]  # fmt: skip
    km = latest.odometer_km or case.odometer_km
    kind = knowledge.filter_types[case.filter_type].title if case.filter_type else ""
    fitted = str(case.fitted) if case.fitted else ""
    if case.fitted_at_km is not None:
        fitted = ", ".join(x for x in (fitted, say("sheet.at_km", km=quantity(case.fitted_at_km, "km"))) if x)
    layout = knowledge.layouts[case.layout].title if case.layout else ""
    lines = [
        (words["vehicle"], ", ".join(cut(v, 40) for v in vehicle if v)),
        (words["odometer"], quantity(km, "km") if km is not None else ""),
        (words["filter"], ", ".join(x for x in (kind, case.substrate or "") if x)),
        (words["fitted"], fitted),
        (words["round"], " → ".join(round_names(result))),
        (words["date"], str(latest.date or case.today or "")),
        (words["sensors"], layout),
    ]
    return [[str(a), b] for a, b in lines if b]


def _reasons(k: Knowledge, r: Result) -> dict[str, Any]:
    gate, speaker = r.gate, Speaker(k, r)

    def line(reason: GateReason, why: bool) -> dict[str, str]:
        detail = speaker.reason_why(reason) if why and reason.finding in k.findings else ""
        if reason.cause:
            detail = f"{k.causes[reason.cause].title}, {percent(r.cause(reason.cause).now)}"
        minutes = say("why.minutes", minutes=figure(reason.minutes)) if reason.minutes and not why else ""
        return {"says": reason.says, "why": detail, "instead": reason.instead, "minutes": minutes}

    lists = (("dangers", gate.dangers, True), ("not_met", gate.not_met, True), ("doubts", gate.doubts, True),
             ("likely", gate.likely, True), ("missing", gate.missing, False))  # fmt: skip
    out: dict[str, Any] = {name: [line(x, why) for x in found] for name, found, why in lists}
    safe = k.gate.set_up
    missing = [x for x in gate.missing if x.finding not in safe]
    out["missing"] = [line(x, False) for x in missing] if gate.decision == "hold" else []
    out["also_missing"] = [x.says for x in missing] if gate.decision == "do not burn" else []
    if gate.decision in ("not needed", "clear"):
        out |= {"not_met": [], "doubts": [], "likely": []}  # nothing is to be done for a burn
    out["safety"] = [{"says": k.findings[f].title, "known": f in gate.met} for f in sorted(safe, key=_place(k))]
    told = gate.decision == "clear"  # before that a new sheet is printed anyway
    for name, texts in (("watch", k.gate.watch), ("stop", k.gate.stop_at), ("after", k.gate.after)):
        out[name] = list(texts) if told else []
    return out


def _place(k: Knowledge) -> Any:
    order = {n.finding: i for i, n in enumerate(k.gate.needs)}
    return lambda finding: order[finding]


def _answers(k: Knowledge, r: Result) -> dict[str, list[str]]:
    """Return what was seen, heard and tried, in short, by the earlier round it is from; "" for the latest."""
    speaker, out = Speaker(k, r), {"": list[str]()}
    for slot, value in r.latest.facts.items():
        if slot in k.questions and k.questions[slot].group != "safe to work":
            told = speaker.value(slot, value)
            out.setdefault(speaker.earlier(slot), []).append(f"{k.questions[slot].text} {told}")
    return out


def _earlier(k: Knowledge, r: Result, rest: Sequence[Row]) -> list[dict[str, Any]]:
    """Return what the latest round did not read or ask anew, by the round it is from, the newest first."""
    by_round: dict[str, list[str]] = {}
    for row in rest:
        if row.earlier:
            by_round.setdefault(row.earlier, []).append(f"{row.title}: {row.told}")
    for name, told in _answers(k, r).items():
        if name:
            by_round.setdefault(name, []).extend(told)
    order = [round_told(r, i) for i in reversed(range(len(r.rounds)))]
    return [{"head": say("sheet.earlier", round=name), "says": by_round[name]} for name in order if name in by_round]


def _codes(k: Knowledge, r: Result) -> list[str]:
    codes = r.case.rounds[-1].codes
    if codes is None:
        return [str(phrases()["sheet"]["codes_not_read"])]
    if not codes:
        return [str(phrases()["sheet"]["no_codes"])]
    return [
        f"{c.code} ({c.status}): {k.codes[c.code].meaning if c.code in k.codes else phrases()['sheet']['not_listed']}"
        for c in codes
    ]  # fmt: skip


def _causes(k: Knowledge, r: Result, evidence: int) -> list[dict[str, Any]]:
    shown = [c for c in r.causes if c.probability >= 0.1 and c.weights][:4] or list(r.causes[:1])
    return [_cause(k, r, c, evidence) for c in shown]


def _cause(k: Knowledge, r: Result, c: CauseResult, evidence: int) -> dict[str, Any]:
    speaker, names = Speaker(k, r), round_names(r)

    def told(weights: Sequence[Any]) -> list[str]:
        out: dict[str, None] = {}
        for w in weights:
            if abs(w.decibans) >= (3.0 if w.finding in COMPLAINT else 1.0):
                db = say("chain.weight", decibans=f"{w.decibans:+.0f}".replace("-", "−"))
                if w.round != len(r.rounds) - 1:
                    db = f"{names[w.round]}, {db}"
                out.setdefault(f"{speaker.finding_says(w.finding, w.round)} ({db})")
        return list(out)[:evidence]

    note = ""
    if c.state != "present":
        note = str(phrases()["state"][c.state])
    elif c.because_of:
        note = say("why.because_of", parents=", ".join(k.causes[p].title for p in c.because_of))
    return {
        "title": k.causes[c.id].title, "level": str(phrases()["level"][c.level]), "percent": percent(c.probability),
        "p": c.probability, "note": note, "for": told(c.speaks_for), "against": told(c.speaks_against),
        "how": k.causes[c.id].leads_to[0],
    }  # fmt: skip


def _next(k: Knowledge, r: Result, most: int) -> list[dict[str, str]]:
    return [
        {"title": k.tests[t.test].title, "minutes": say("why.minutes", minutes=figure(t.minutes)),
         "tools": ", ".join(k.tests[t.test].tools)}
        for t in tests_shown(k, r, most)
    ]  # fmt: skip


def _jobs(k: Knowledge, r: Result, steps: int) -> list[dict[str, Any]]:
    bounds = Bounds(k, r)
    out = [_job(k, r, i, step, steps, bounds) for i, step in enumerate(r.work, 1)]
    told: set[str] = set()
    for job in out:  # a value that proves two jobs is written down once
        job["proving"] = [p for p in job["proving"] if p not in told]
        told |= set(job["proving"])
    return out


def _cautions(k: Knowledge, r: Result, most: int) -> list[dict[str, str]]:
    """Return the dangers: the first ``most`` in full, of the others the titles, unless a job names them already."""
    named = {h for step in r.work for h in k.remedies[step.remedy].hazards}
    return [
        {"title": k.cautions[c].title, "says": k.cautions[c].says if i < most else ""}
        for i, c in enumerate(r.cautions) if i < most or c not in named
    ]  # fmt: skip


def _job(k: Knowledge, r: Result, number: int, step: WorkStep, steps: int, bounds: Bounds) -> dict[str, Any]:
    remedy = k.remedies[step.remedy]
    because = [_reason(k, r, b) for b in step.because]
    allowed = r.gate.decision == "clear" or remedy.place != "the burn"
    served = [k.remedies[name] for name in step.serves]
    only_for = " ".join(x for x in (_spared(r, step), _serves(served)) if x)
    return {
        "number": number, "title": remedy.title, "minutes": say("why.minutes", minutes=figure(remedy.minutes)),
        "because": "; ".join(because), "steps": _steps(remedy, steps),
        "cautions": [k.cautions[h].title for h in remedy.hazards], "proof": remedy.proof,
        "proving": list(dict.fromkeys(p for x in (remedy, *served) for p in proving(k, r, x, bounds))),
        "serves": only_for, "wait": "" if allowed else str(phrases()["sheet"]["wait"]),
    }  # fmt: skip


def _reason(k: Knowledge, r: Result, because: str) -> str:
    """Return why a job is due: the cause, or the finding as it stands."""
    if because in k.causes:
        return k.causes[because].title
    found = r.decided.findings.get(because)
    return k.findings[because].fails if found is not None and found.state == "fails" else k.findings[because].title


def _steps(remedy: Remedy, most: int) -> list[str]:
    """Return the steps of a job, as many as there is room for; it says where some are left out."""
    left = len(remedy.steps) - most
    return [*remedy.steps[:most], *([say("sheet.more_steps", count=left)] if most and left > 0 else [])]


def _spared(r: Result, step: WorkStep) -> str:
    return say("sheet.spared", step=spared_by(r, step)) if step.spared_by else ""


def _serves(served: Sequence[Remedy]) -> str:
    """Return what else a job done once is for, with the proof that is wanted of that."""
    jobs = [say("sheet.serves_job", title=x.title, proof=x.proof.rstrip(".")) for x in served]
    return say("sheet.serves", jobs="; ".join(jobs)) if jobs else ""


def proving(knowledge: Knowledge, result: Result, remedy: Remedy, bounds: Bounds | None = None) -> list[str]:
    """Return the values that prove a job, with this case's own figures where there are any.

    From the findings that prove it: the pressure of a clean filter at this gas flow, or the limit of the rule that
    says so.
    """
    bounds, speaker, out = bounds or Bounds(knowledge, result), Speaker(knowledge, result), {}
    for proof in remedy.proof_findings:
        if proof.finding == "filter_really_restricted":
            for condition in ("idle", "fast_idle"):
                low, high, _, _ = bounds.of(f"gauge_pressure.{condition}")
                if math.isfinite(high):
                    told = quantity_range(low, high, "mbar")
                    out[f"gauge_pressure.{condition}"] = told
            continue
        for slot, first, last in bounds.setting(proof.finding, proof.state):
            unit = speaker.units.get(slot, "1")
            if math.isfinite(first) and math.isfinite(last):
                told = quantity_range(first, last, unit)
            else:
                key = "band.at_least" if math.isfinite(first) else "band.at_most"
                told = say(key, limit=quantity(first if math.isfinite(first) else last, unit))
            out.setdefault(slot, told)
    titles = ((speaker.slot_title(s), told) for s, told in out.items() if s.partition(".")[0] in knowledge.readings)
    return [f"{t[:1].upper()}{t[1:]}: {told}" for t, told in titles]


def _blanks(k: Knowledge, r: Result, found: Sequence[Row]) -> list[dict[str, str]]:
    """Return the values to write down after the work, with what was read before it and what is expected."""
    by_slot = {x.slot: x for x in found}
    speaker, out = Speaker(k, r), []
    for slot in BLANKS:
        row = by_slot.get(slot)
        title = speaker.slot_title(slot)
        value = r.latest.facts.get(slot)
        before = speaker.value(slot, value) if isinstance(value, Number) else ""
        if before and (at := speaker.earlier(slot)):
            before = say("band.with_round", value=before, read=at)
        unit = speaker.units.get(slot, "1")
        out.append({"title": title[:1].upper() + title[1:], "before": before,
                    "expected": row.expected if row else "", "unit": "" if unit == "1" else unit})  # fmt: skip
    return out
