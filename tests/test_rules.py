"""Rules and cautions: what applies, in which nation, until when, and whom to ask."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from estimator.inputs import Room, Site
from estimator.rules import (
    LiningFacts,
    RuleNote,
    conditions,
    element_share,
    judge_rules,
    nation_of,
    rule_findings,
    said_no,
    said_yes,
)
from estimator.tables import read_table
from tests.heat_cases import wall_case

FACTS = LiningFacts(
    construction="solid_brick",
    insulation="phenolic",
    insulation_mm=50.0,
    u_before_w_m2k=2.12,
    u_after_w_m2k=0.32,
    meets_target=False,
    target_words="does not meet 0.30",
    element_share=0.62,
    floor_share=0.024,
    payback_low_years=10.0,
    payback_high_years=60.0,
)


def _notes(
    site: Site | None = None, *, facts: LiningFacts = FACTS, on: date | None = None, **case: object
) -> dict[str, RuleNote]:
    notes = judge_rules(wall_case(site=site, **case), facts, on=on)  # type: ignore[arg-type]
    return {n.key: n for n in notes}


def test_over_half_the_rooms_outer_wall_calls_building_control() -> None:
    """Approved Document L volume 1 (2021), paragraph 11.3."""
    note = _notes()["element_share"]
    assert note.applies == "yes"
    assert "62 %" in note.words
    assert "building control" in note.ask
    assert note.condition == "building control has replied"


@pytest.mark.parametrize(("share", "applies"), [(0.5, "no"), (0.501, "yes"), (None, "perhaps"), (0.2, "no")])
def test_half_is_not_over_half(share: float | None, applies: str) -> None:
    assert _notes(facts=replace(FACTS, element_share=share))["element_share"].applies == applies


@pytest.mark.parametrize(("share", "applies"), [(0.049, "no"), (0.051, "yes"), (None, "perhaps")])
def test_floor_loss_counts_over_five_per_cent(share: float | None, applies: str) -> None:
    assert _notes(facts=replace(FACTS, floor_share=share))["floor_loss"].applies == applies


@pytest.mark.parametrize(
    ("low", "high", "applies"), [(4, 14, "no"), (10, 60, "perhaps"), (16, 60, "yes"), (None, None, "perhaps")]
)
def test_payback_counts_from_fifteen_years(low: float | None, high: float | None, applies: str) -> None:
    facts = replace(FACTS, payback_low_years=low, payback_high_years=high)
    assert _notes(facts=facts)["payback"].applies == applies


def test_a_wall_that_is_good_enough_or_stays_too_bad_is_told() -> None:
    assert _notes(facts=replace(FACTS, u_before_w_m2k=0.6))["threshold_u"].applies == "yes"
    assert _notes(facts=replace(FACTS, u_after_w_m2k=0.75))["threshold_u"].applies == "yes"
    assert _notes()["threshold_u"].applies == "no"


@pytest.mark.parametrize("nation", ["wales", "scotland", "northern_ireland"])
def test_another_nation_is_flagged_beside_englands_figures(nation: str) -> None:
    notes = _notes(Site(nation=nation))
    assert notes[nation].applies == "yes"
    assert notes[nation].code == "L002"
    assert "target_u" in notes
    others = {"wales", "scotland", "northern_ireland"} - {nation}
    assert not others & set(notes)
    codes = {f.code for f in rule_findings(tuple(notes.values()), wall="north")}
    assert "L002" in codes


@pytest.mark.parametrize(
    ("site", "nation"),
    [
        (Site(region="east_scotland"), "scotland"),
        (Site(region="wales"), "wales"),
        (Site(region="northern_ireland"), "northern_ireland"),
        (Site(region="east_anglia"), "england"),
        (Site(region="borders"), "england"),
        (Site(region="borders", nation="scotland"), "scotland"),
        (Site(), "england"),
    ],
)
def test_the_region_says_the_nation_where_nobody_did(site: Site, nation: str) -> None:
    assert nation_of(site) == nation


def test_england_has_no_nation_note() -> None:
    assert not {"wales", "scotland", "northern_ireland"} & set(_notes())


@pytest.mark.parametrize(
    ("site", "key", "applies"),
    [
        (Site(listed=True), "listed", "yes"),
        (Site(listed=False), "listed", "no"),
        (Site(), "listed", "perhaps"),
        (Site(exposure_zone=4), "rain", "yes"),
        (Site(exposure_zone=1), "rain", "no"),
        (Site(), "rain", "perhaps"),
        (Site(damp="a stain under the sill"), "damp", "yes"),
        (Site(damp="no"), "damp", "no"),
        (Site(damp="unknown"), "damp", "perhaps"),
        (Site(damp="none_seen"), "damp", "no"),
        (Site(joists=True), "joists", "yes"),
        (Site(joists="into_wall"), "joists", "yes"),
        (Site(joists="parallel"), "joists", "no"),
        (Site(joists="not known"), "joists", "perhaps"),
        (Site(textured_coating="yes"), "asbestos", "yes"),
        (Site(textured_coating=False), "asbestos", "no"),
    ],
)
def test_an_answer_decides_its_caution(site: Site, key: str, applies: str) -> None:
    assert _notes(site)[key].applies == applies


def test_rain_does_not_stop_a_cavity_wall() -> None:
    facts = replace(FACTS, construction="cavity_empty")
    assert _notes(Site(exposure_zone=4), facts=facts)["rain"].applies == "no"


def test_a_house_built_after_the_ban_needs_no_asbestos_sample() -> None:
    assert _notes(Site(textured_coating="yes"), built=2003)["asbestos"].applies == "no"


@pytest.mark.parametrize(("built", "applies"), [(1908, "yes"), (1975, "no"), (None, "perhaps")])
def test_lead_paint_goes_by_the_year(built: int | None, applies: str) -> None:
    assert _notes(built=built)["lead"].applies == applies


@pytest.mark.parametrize(
    ("feature", "key"), [("socket", "electrical"), ("switch", "electrical"), ("flue", "gas"), ("airbrick", "gas")]
)
def test_a_thing_on_the_wall_calls_its_trade(feature: str, key: str) -> None:
    note = _notes(features=(feature,))[key]
    assert note.applies == "yes"
    assert f"{feature}-1" in note.words
    assert note.condition


@pytest.mark.parametrize(
    ("insulation", "mm", "construction", "applies"),
    [
        ("pir", 40.0, "solid_brick", "no"),
        ("pir", 50.0, "solid_brick", "yes"),
        ("wood_fibre", 80.0, "solid_brick", "no"),
        ("pir", 80.0, "cavity_filled", "no"),
    ],
)
def test_thick_vapour_closed_boards_on_solid_walls_want_a_professional(
    insulation: str, mm: float, construction: str, applies: str
) -> None:
    facts = replace(FACTS, insulation=insulation, insulation_mm=mm, construction=construction)
    assert _notes(facts=facts)["vapour_closed"].applies == applies


def test_a_rule_past_its_end_is_not_silently_kept() -> None:
    """HM Revenue and Customs Notice 708/6: the zero rate runs to 31 March 2027."""
    assert _notes(on=date(2027, 3, 31))["vat"].applies == "yes"
    late = _notes(on=date(2027, 4, 1))["vat"]
    assert late.applies == "perhaps"
    assert "ran until 2027-03-31" in late.words


def test_rules_nobody_checked_for_a_year_are_said_to_be_old() -> None:
    notes = tuple(_notes().values())
    checked = read_table("rules").checked
    assert "L090" not in {f.code for f in rule_findings(notes, wall="north", on=checked)}
    late = checked.replace(year=checked.year + 2)
    (stale,) = [f for f in rule_findings(notes, wall="north", on=late) if f.code == "L090"]
    assert "more than a year" in stale.message


def test_every_rule_is_dated_and_every_caution_names_whom_to_ask_or_is_plain_care() -> None:
    for note in _notes().values():
        assert note.edition
        assert note.in_force <= note.checked
        assert note.ask or note.key == "lifting"
        assert note.text.endswith(".")
        assert note.source


def test_the_cautions_of_the_trade_are_all_there() -> None:
    kinds = {k for k, n in _notes().items() if n.kind == "caution"}
    assert kinds >= {"ventilation", "fire", "electrical", "asbestos", "lead", "gas", "listed", "party_wall", "damp"}


def test_conditions_are_what_applies_and_each_is_said_once() -> None:
    notes = tuple(_notes(Site(damp=True, listed=True)).values())
    found = conditions(notes)
    assert len(found) == len(set(found))
    assert {"damp is mended and the plaster is dry", "consent is in hand"} <= set(found)
    assert "a gas engineer has looked" not in found


def test_nothing_here_approves() -> None:
    for note in _notes().values():
        assert not any(word in note.text.lower() for word in ("approved for", "compliant", "complies", "safe to fit"))


@pytest.mark.parametrize(
    ("answer", "yes", "no"),
    [
        (True, True, False),
        (False, False, True),
        (None, False, False),
        ("unknown", False, False),
        ("No", False, True),
        ("none seen", False, True),
        ("Not sure", False, False),
        ("don't know", False, False),
        ("yes", True, False),
        ("rising at the foot", True, False),
        ("", False, False),
    ],
)
def test_answers_in_words_are_understood(answer: object, yes: bool, no: bool) -> None:
    assert said_yes(answer) is yes
    assert said_no(answer) is no


def test_the_element_is_the_outer_wall_in_the_room() -> None:
    room = Room(id="back", walls=("north", "east", "south"))
    cases = [
        wall_case("north", area_m2=8.0),
        wall_case("east", area_m2=6.0, line=False),
        wall_case("south", area_m2=9.0, faces="partition"),
    ]
    assert element_share(room, cases) == pytest.approx(8 / 14)


def test_the_element_is_not_guessed_where_a_wall_or_an_area_is_missing() -> None:
    room = Room(id="back", walls=("north", "east"))
    assert element_share(room, [wall_case("north")]) is None
    assert element_share(room, [wall_case("north"), wall_case("east", area_m2=None)]) is None
    assert element_share(None, []) is None
