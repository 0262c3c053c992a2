"""Reading a case: what is understood, in which unit, and what each kind of mistake is told."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from inference.case import Case, SeenCode
from inference.read_case import parse_case, read_case
from kb.faults import Faults
from tests.inference.case_knowledge import knowledge

WHOLE = """\
case: vet-estate-03
opened: 2026-03-02
vehicle: {engine_litres: 2.0, odometer: 148000 km, emission_class: Euro 5, gearbox: manual}
filter:  {type: coated, substrate: silicon carbide, fitted: 2019-05-10, fitted_at: 0 km}
layout:  differential_pressure_two_temperatures
complaint: warning lamp again, third time this winter
usage:   {trips_per_week: 30, typical_trip: 6 min, typical_distance: 2.5 km, long_run_per_month: 0}
history:
  - {date: 2025-12-01, odometer: 146200 km, event: forced regeneration, completed: yes}
rounds:
  - when: arrival
    date: 2026-03-02
    odometer: 148000 km
    readings:
      gauge_pressure:  {key_on: 0 mbar, idle: 9 mbar, fast_idle: 58 mbar}
      coolant_temperature: {road: 71 °C}
      ambient_temperature: 9 °C
    answers: {hoses_sound: yes, oil_meets_low_ash_grade: unknown}
    codes: [P2463, {code: P0128, status: pending}]
    codes_cleared: {distance: 900 km, warm_ups: 40}
confirmed: [thermostat_stuck_open]
"""


def read(text: str) -> Case:
    return parse_case(text.encode(), "c.yaml", knowledge())


def faults_of(text: str) -> list[str]:
    with pytest.raises(Faults) as caught:
        read(text)
    return [str(f) for f in caught.value.faults]


def one_round(lines: str) -> str:
    """A case with a single round holding ``lines`` from line 4 on."""
    body = "\n".join(f"    {line}" for line in lines.strip("\n").splitlines())
    return f"case: c\nrounds:\n  - when: arrival\n{body}\n"


def test_the_case_of_the_design_is_read_whole() -> None:
    case = read(WHOLE)
    assert (case.name, case.opened, case.today) == ("vet-estate-03", date(2026, 3, 2), date(2026, 3, 2))
    assert (case.engine_litres, case.odometer_km, case.fitted_at_km) == (2.0, 148000.0, 0.0)
    assert (case.filter_type, case.substrate, case.gearbox) == ("coated", "silicon carbide", "manual")
    assert case.history[0].completed == "yes"
    round_ = case.rounds[0]
    assert round_.number("gauge_pressure.fast_idle") == 58.0
    assert round_.number("typical_trip") == 6.0
    assert round_.number("gauge_pressure_after.idle") is None
    assert round_.answer("hoses_sound") == "yes"
    assert round_.answer("oil_meets_low_ash_grade") is None
    assert round_.codes == (SeenCode("P2463", "stored", 19), SeenCode("P0128", "pending", 19))
    assert case.confirmed == ("thermostat_stuck_open",)
    assert case.warnings == ()


def test_least_case() -> None:
    case = read("case: 7\nrounds:\n  - {}\n")
    assert (case.name, case.rounds[0].when, case.rounds[0].codes) == ("7", "arrival", None)
    assert case.engine_litres is None
    assert case.filter_type is None


def test_file_on_disk_and_missing_file(tmp_path: Path) -> None:
    path = tmp_path / "one.yaml"
    path.write_text(WHOLE, encoding="utf-8")
    assert read_case(path, knowledge(), "one.yaml").file == "one.yaml"
    with pytest.raises(Faults, match="no such file"):
        read_case(tmp_path / "two.yaml", knowledge())


@pytest.mark.parametrize(
    ("written", "slot", "value"),
    [
        # factors of the SI Brochure (9th edition) and of the yard and pound agreement: 1 psi = 68.9476 mbar
        ("gauge_pressure: {idle: 0.9 kPa}", "gauge_pressure.idle", 9.0),
        ("gauge_pressure: {fast_idle: 1 psi}", "gauge_pressure.fast_idle", 68.9475729),
        ("coolant_temperature: {road: 160 °F}", "coolant_temperature.road", 71.1111111),
        ("coolant_temperature: {road: 344.15 K}", "coolant_temperature.road", 71.0),
        ("air_mass_flow: {idle: 36 kg/h}", "air_mass_flow.idle", 10.0),
        ("oil_consumption: 0.4 l/1000 km", "oil_consumption", 0.4),
        ("oil_consumption: 0.4 l per 1000 km", "oil_consumption", 0.4),
        ("injector_correction_spread: 3 mg per stroke", "injector_correction_spread", 3.0),
        ("smoke_opacity: 2.5 1/m", "smoke_opacity", 2.5),
        ("engine_speed: {idle: 800 rpm}", "engine_speed.idle", 800.0),
        ("burns_started: 40", "burns_started", 40.0),
        ("distance_since_burn: 100 miles", "distance_since_burn", 160.9344),
        ("oxygen_content: 14 %", "oxygen_content.idle", 14.0),  # one condition only, so bare is plain enough
        ("boost_wanted: 2.1 bar", "boost_wanted.full_load", 2100.0),
    ],
)
def test_units_as_people_write_them(written: str, slot: str, value: float) -> None:
    case = read(one_round(f"readings:\n  {written}"))
    assert case.rounds[0].number(slot) == pytest.approx(value, rel=1e-7)


@pytest.mark.parametrize(
    ("written", "litres"), [("2.0", 2.0), ("2", 2.0), ("2.0 l", 2.0), ("1998 cm³", 1.998), ("1998 ccm", 1.998)]
)
def test_engine_size(written: str, litres: float) -> None:
    case = read(f"case: c\nvehicle: {{engine_litres: {written}}}\nrounds: [{{}}]\n")
    assert case.engine_litres == pytest.approx(litres)
    assert case.given["vehicle.engine_litres"].given == written


@pytest.mark.parametrize(
    ("lines", "place", "says"),
    [
        ("readings: {coolant_temperature: {road: 71}}", "c.yaml:4", "71 has no unit; write for example '71 °C'"),
        ("readings: {ambient_temperature: '9,5 °C'}", "c.yaml:4", "decimal comma; write '9.5 °C'"),
        ("readings: {gauge_pressure: {idle: 9,5 mbar}}", "c.yaml:4", "write 'idle: 9.5 mbar'"),
        ("readings: {gauge_pressure: {idle: 9 °C}}", "c.yaml:4", "the unit '°C' does not fit here"),
        ("readings: {gauge_pressure: 9 mbar}", "c.yaml:4", "with one or more of key_on, idle, fast_idle"),
        ("readings: {ambient_temperature: {road: 9 °C}}", "c.yaml:4", "takes no condition"),
        ("readings: {gauge_presure: {idle: 9 mbar}}", "c.yaml:4", "did you mean 'gauge_pressure'?"),
        ("readings: {gauge_pressure: {idel: 9 mbar}}", "c.yaml:4", "did you mean 'idle'?"),
        ("readings: {blue_smoke: yes}", "c.yaml:4", "write it under answers:"),
        ("readings: {typical_trip: 6 min}", "c.yaml:4", "belongs under usage:"),
        ("blue_smoke: yes", "c.yaml:4", "write it under answers:"),
        ("readings: {ambient_temperature: 99 °C}", "c.yaml:4", "possible is -60 to 60 °C"),
        ("readings: {fuel_level: 7}", "c.yaml:4", "7 has no unit"),
        ("readings: {fuel_level: [7 %]}", "c.yaml:4", "a list stands here"),
        ("readings: {fuel_level: true}", "c.yaml:4", "is no quantity"),
        ("readings: [fuel_level]", "c.yaml:4", "a list stands here; keys are wanted"),
        ("readings:\n  fuel_level: .nan", "c.yaml:5", "is no number"),
        ("answers: {blue_smoke: perhaps}", "c.yaml:4", "'perhaps' is not one of yes, no, unknown"),
        ("answers: {blue_smoke: 1}", "c.yaml:4", "one of these is wanted"),
        ("answers: {blue_smok: yes}", "c.yaml:4", "did you mean 'blue_smoke'?"),
        ("codes: [2463]", "c.yaml:4", "is no trouble code"),
        ("codes: [P24G3]", "c.yaml:4", "is no trouble code"),
        ("codes: [PO128]", "c.yaml:4", "did you mean 'P0128'?"),
        ("codes: [P0128, p0128]", "c.yaml:4", "P0128 (stored) stands here twice"),
        ("codes:", "c.yaml:4", "write [] if the codes were read and there was none"),
        ("codes: P2463", "c.yaml:4", "a list of codes such as P2463 is wanted"),
        ("codes: [{code: P2463, status: sleeping}]", "c.yaml:4", "not one of stored, pending, permanent"),
        ("repaired: [thermostat]", "c.yaml:4", "did you mean 'thermostat_stuck_open'?"),
        ("monitors_complete: maybe", "c.yaml:4", "not one of yes, no, unknown"),
        ("date: 02.03.2026", "c.yaml:4", "write year-month-day"),
        ("date: 2026-02-30", "c.yaml:4", "no day of the calendar"),
        ("notes: {a: b}", "c.yaml:4", "a text is wanted"),
        ('notes: "turn \\u202e round"', "c.yaml:4", "the unseen character U+202E"),
        ("codes_cleared: {distance: 900}", "c.yaml:4", "900 has no unit"),
        ("readings: {burns_started: 3, burns_completed: 5}", "c.yaml:4", "5 burns completed are more than the 3"),
    ],
)
def test_each_mistake_is_told_with_its_line(lines: str, place: str, says: str) -> None:
    told = faults_of(one_round(lines))
    assert any(line.startswith(f"{place}:") and says in line for line in told), told
    assert len(told) == 1, told


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("case: c\n", "the case has no round"),
        ("case: c\nrounds: []\n", "the case has no round"),
        ("case: c\nrounds: {when: arrival}\n", "a list of rounds"),
        ("rounds: [{}]\n", "the case has no name"),
        ("- a\n- b\n", "a case begins with keys"),
        ("just words\n", "a case begins with keys"),
        ("case: c\nround: [{}]\nrounds: [{}]\n", "did you mean 'rounds'?"),
        ("case: c\ncase: d\nrounds: [{}]\n", "stands here twice"),
        ("case: c\nrounds: [{}, {}]\n", "this round does not say when"),
        ("case: c\nrounds: [{when: arival}]\n", "did you mean 'arrival'?"),
        ("case: c\nrounds: [{}]\nvehicle: {engine_litres: 1998}\n", "for cubic centimetres write '1998 cm³'"),
        ("case: c\nrounds: [{}]\nvehicle: {gearbox: manuel}\n", "did you mean 'manual'?"),
        ("case: c\nrounds: [{}]\nfilter: {type: coatet}\n", "did you mean 'coated'?"),
        ("case: c\nrounds: [{}]\nfilter: {volume: 2.5}\n", "2.5 has no unit"),
        ("case: c\nrounds: [{}]\nlayout: differential\n", "is not one of"),
        ("case: c\nrounds: [{}]\nusage: {typical_trip: 6}\n", "6 has no unit; write for example '6 min'"),
        ("case: c\nrounds: [{}]\nusage: {fuel_level: 6 %}\n", "is a reading of a round"),
        ("case: c\nrounds: [{}]\nusage: {typical_trip: 6 min, typical_distance: 60 km}\n", "600 km/h"),
        ("case: c\nrounds: [{}]\nhistory: [{date: 2026-01-01}]\n", "does not say what happened"),
        ("case: c\nrounds: [{}]\nhistory: [{event: repair}]\n", "does not say what was repaired"),
        (
            "case: c\nrounds: [{}]\nconfirmed: [gremlins]\n",
            "is no known cause; write one such as thermostat_stuck_open",
        ),
        (
            "case: c\nrounds: [{when: after repair, repaired: [oil change]}]\n",
            "'oil change' is no known cause or job (it may be one of: oil-change-after-burns, oil-change-before-burn, "
            "oil-change-first)",
        ),
        (
            "case: c\nrounds: [{when: after repair, repaired: [egr]}]\n",
            "is no known cause or job (did you mean 'egr_stuck_open'?)",
        ),
        ("case: c\nrounds: [{}]\n1: 2\n", "the key '1' is not known here"),
        (f"case: c\nrounds: [{{}}]\nnotes: {'x' * 2001}\n", "has 2001 characters; at most 2000"),
        (f"case: c\nrounds: [{{codes: [{', '.join(['P0128'] * 501)}]}}]\n", "at most 500"),
        (f"case: c\nrounds: [{', '.join(['{when: follow-up}'] * 101)}]\n", "at most 100"),
    ],
)
def test_each_mistake_of_the_case_is_told(text: str, says: str) -> None:
    told = faults_of(text)
    assert any(says in line for line in told), told
    assert len(told) == 1, told


def test_all_mistakes_are_told_at_once_in_order_of_lines() -> None:
    bad = WHOLE.replace("manual", "manuel").replace("71 °C", "71").replace("P2463", "2463")
    told = faults_of(bad.replace("9 mbar", "9 parsnips"))
    assert [line.split(":")[1] for line in told] == ["3", "15", "16", "19"]
    assert all(line.count("\n") == 0 for line in told)


def test_yes_stays_a_word_and_true_is_taken_for_yes() -> None:
    case = read(one_round("answers: {blue_smoke: true, hoses_sound: no, rough_idle: Yes}"))
    assert case.rounds[0].answers == {"blue_smoke": "yes", "hoses_sound": "no", "rough_idle": "yes"}


def test_codes_read_and_none_differs_from_not_read() -> None:
    assert read(one_round("codes: []")).rounds[0].codes == ()
    assert read(one_round("notes: none")).rounds[0].codes is None


def test_code_spellings() -> None:
    case = read(one_round("codes: [p242f, P2463-2F, P1abc]"))
    assert [c.code for c in case.rounds[0].codes or ()] == ["P242F", "P2463", "P1ABC"]


def test_empty_fields_are_unknown() -> None:
    case = read("case: c\nvehicle:\nfilter: {type: unknown, volume: }\nlayout:\nrounds: [{readings: , answers: }]\n")
    assert (case.filter_type, case.volume_l, case.layout) == (None, None, None)
    assert case.rounds[0].readings == {}


def test_unusual_is_warned_of_and_kept() -> None:
    case = read(one_round("readings: {gauge_pressure: {idle: 70 mbar}}"))
    assert case.rounds[0].number("gauge_pressure.idle") == 70.0
    assert [str(w) for w in case.warnings] == [
        "c.yaml:4: rounds.0.readings.gauge_pressure.idle: '70 mbar' is unusual: mostly it is 0 to 60 mbar; check it"
    ]


def test_a_repair_in_the_history_names_its_cause() -> None:
    text = "case: c\nrounds: [{}]\nhistory: [{event: repair, what: 'new thermostat (thermostat_stuck_open)'}]\n"
    case = read(text)
    assert case.history[0].repaired == ("thermostat_stuck_open",)
    assert case.repaired_by(case.rounds[0]) == {"thermostat_stuck_open"}
