"""Dated rules and cautions: which bear on this lining, what they say, and whom to ask. Never legal advice."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from estimator.inputs import Room, Site, WallCase
from estimator.tables import Row, read_table
from vision.findings import Finding

DEFAULT_NATION = "england"
STALE_DAYS = 365  # invented default: rules that nobody has checked for a year are said to be old
UNCHECKED = "unchecked"
FOOTER = "Estimate only; not a design. Local code and licensed practice prevail."
SOLID = frozenset({"solid_brick", "solid_brick_thick", "half_brick", "stone", "unknown"})
VAPOUR_CLOSED = frozenset({"pir", "phenolic", "eps_grey", "eps_white"})
CLOSED_LIMIT_MM = 40.0
ASBESTOS_YEAR = 2000
LEAD_YEAR = 1970
_UNKNOWN = ("unknown", "not known", "not sure", "not asked", "unsure", "don't know", "do not know", "dont know", "?")
_NO = frozenset({"no", "none", "never", "not", "false", "nothing", "dry", "parallel", "solid", "concrete"})
"""First words that mean no; joists that run parallel to the wall, and solid or concrete floors, have no ends in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleNote:
    """One rule or caution as it bears on this wall.

    ``applies`` is ``yes``, ``perhaps`` (an answer is missing) or ``no``. ``words`` says why, ``text`` what the rule is,
    ``ask`` who can say more, ``condition`` what must be settled before the work (empty when nothing must).
    """

    key: str
    code: str
    kind: str
    title: str
    text: str
    applies: str
    words: str
    ask: str
    condition: str
    edition: str
    in_force: date
    expires: date | None
    checked: date
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LiningFacts:
    """What the rules need to know of the wall and its lining."""

    construction: str
    insulation: str
    insulation_mm: float
    u_before_w_m2k: float
    u_after_w_m2k: float
    meets_target: bool
    target_words: str
    element_share: float | None
    floor_share: float | None
    payback_low_years: float | None
    payback_high_years: float | None


def said_yes(answer: object) -> bool:
    """Say whether an ``answer`` means yes: true, or words that mean neither no nor "not known"."""
    return answer is True or (isinstance(answer, str) and _meaning(answer) == "yes")


def said_no(answer: object) -> bool:
    """Say whether an ``answer`` means no: false, or words that begin with no, none, never, not, dry or parallel."""
    return answer is False or (isinstance(answer, str) and _meaning(answer) == "no")


def _meaning(words: str) -> str:
    """Return ``yes``, ``no`` or ``unknown`` for an answer in words; underscores count as spaces."""
    plain = " ".join(words.replace("_", " ").replace("-", " ").lower().split())
    if not plain or plain.startswith(_UNKNOWN):
        return "unknown"
    return "no" if plain.split()[0].strip(".,;:!") in _NO else "yes"


def nation_of(site: Site) -> str:
    """Return the nation whose rules count: as declared, else the one that the region of ``site`` lies in."""
    regions = read_table("regions").rows
    if site.nation == DEFAULT_NATION and site.region is not None and site.region in regions:
        return str(regions[site.region]["nation"]) or DEFAULT_NATION
    return site.nation


def element_share(room: Room | None, cases: Sequence[WallCase]) -> float | None:
    """Return the share (0 to 1) of the room's outer wall that is to be lined, or None where an area is missing.

    Parameters
    ----------
    room
        The room; None takes all ``cases`` as one room.
    cases
        The room's walls as far as they are known.

    Notes
    -----
    The element is the area of outer wall in the room, openings left out.
    """
    if room is not None and not {w for w in room.walls if w is not None} <= {c.measured.id for c in cases}:
        return None
    outer = [
        c
        for c in cases
        if c.declared.side == "inside"
        and c.declared.faces in {"outside", "unheated", "ground"}
        and (room is None or c.measured.id in room.walls)
    ]
    areas = {c.measured.id: c.measured.net_area_m2 for c in outer}
    if not outer or any(area is None for area in areas.values()):
        return None
    whole = sum(area.value for area in areas.values() if area is not None)
    lined = sum(a.value for c in outer if c.declared.line and (a := areas[c.measured.id]) is not None)
    return lined / whole if whole > 0 else None


def judge_rules(case: WallCase, facts: LiningFacts, *, on: date | None = None) -> tuple[RuleNote, ...]:
    """Return every rule of the wall's nation and every caution, those that apply first.

    Parameters
    ----------
    case
        The wall with the site's answers.
    facts
        What the lining does.
    on
        Today's date, so that expired rules are left out of date; None takes the table as it stands.
    """
    table = read_table("rules")
    expired = () if on is None else out_of_date(on)
    notes = []
    for key, row in table.rows.items():
        nation = nation_of(case.site)
        if row["kind"] == "rule" and key != "vat" and "england" in row["nations"]:
            belongs = True  # England's figures stand by default; another nation gets its own note beside them
        else:
            belongs = nation in row["nations"]
        if not belongs:
            continue
        applies, words = _JUDGES.get(key, _always)(case, facts, row)
        expires = row.get("expires")
        if key in expired:
            applies, words = "perhaps", f"this rule ran until {expires}: look up what holds now"
        notes.append(
            RuleNote(
                key=key,
                code=row["code"],
                kind=row["kind"],
                title=row["title"],
                text=row["text"],
                applies=applies,
                words=words,
                ask=row["ask"],
                condition=row["condition"] if applies != "no" else "",
                edition=row["edition"],
                in_force=row["in_force"],
                expires=expires,
                checked=table.checked,
                source=row["source"],
            )
        )
    order = {"yes": 0, "perhaps": 1, "no": 2}
    return tuple(sorted(notes, key=lambda n: (order[n.applies], n.code)))


def out_of_date(on: date) -> tuple[str, ...]:
    """Return what of the rules no longer holds as the table has it on a day: keys of expired rules, and ``unchecked``.

    Parameters
    ----------
    on
        The day. Two days with the same answer give the same estimate.
    """
    table = read_table("rules")
    expired = sorted(key for key, row in table.rows.items() if "expires" in row and on > row["expires"])
    return (*expired, UNCHECKED) if (on - table.checked).days > STALE_DAYS else tuple(expired)


def rule_findings(notes: Sequence[RuleNote], *, wall: str, on: date | None = None) -> tuple[Finding, ...]:
    """Return the findings that follow from the notes: those that apply, and rules nobody has checked for long.

    Parameters
    ----------
    notes
        The rules as judged.
    wall
        The wall's id.
    on
        Today's date; None leaves the age of the rules alone.
    """
    found = [
        Finding(
            code=note.code,
            severity="warn" if note.condition else "note",
            message=f"{note.title}: {note.words}.",
            remedy=f"Ask {note.ask}." if note.ask else "Keep it in mind.",
            where={"wall": wall},
        )
        for note in notes
        if note.applies == "yes" and (note.key in _JUDGES or note.kind == "nation")
    ]
    if on is not None and UNCHECKED in out_of_date(on):
        found.append(
            Finding(
                code="L090",
                severity="warn",
                message=f"The rules were last checked on {read_table('rules').checked}, more than a year ago.",
                remedy="Look up the editions in force before you rely on them.",
                where={"wall": wall},
            )
        )
    return tuple(found)


def conditions(notes: Sequence[RuleNote]) -> tuple[str, ...]:
    """Return what must be settled before the work, each once, from the ``notes`` that apply."""
    return tuple(dict.fromkeys(note.condition for note in notes if note.applies == "yes" and note.condition))


_Judgement = tuple[str, str]
_Judge = Callable[[WallCase, LiningFacts, Row], _Judgement]


def _always(case: WallCase, facts: LiningFacts, row: Row) -> _Judgement:
    return "yes", "this house is elsewhere than in England" if row["kind"] == "nation" else "holds for every lining"


def _share(case: WallCase, facts: LiningFacts, row: Row) -> _Judgement:
    if facts.element_share is None:
        return "perhaps", "the room's outer walls are not all measured"
    words = f"{100 * facts.element_share:.0f} % of the room's outer wall is to be lined"
    return ("yes" if facts.element_share > row["limit"] else "no"), words


def _target(case: WallCase, facts: LiningFacts, row: Row) -> _Judgement:
    return ("no" if facts.meets_target else "yes"), f"the lining {facts.target_words}"


def _threshold(case: WallCase, facts: LiningFacts, row: Row) -> _Judgement:
    if facts.u_before_w_m2k <= row["limit"]:
        return "yes", f"the wall has {facts.u_before_w_m2k:.2f} W/m²K as it is"
    if facts.u_after_w_m2k > row["limit"]:
        return "yes", f"even lined, the wall has {facts.u_after_w_m2k:.2f} W/m²K"
    return "no", f"from {facts.u_before_w_m2k:.2f} to {facts.u_after_w_m2k:.2f} W/m²K"


def _payback(case: WallCase, facts: LiningFacts, row: Row) -> _Judgement:
    low, high, limit = facts.payback_low_years, facts.payback_high_years, row["limit"]
    if low is None or high is None:
        return "perhaps", "there is no payback without an area"
    words = f"simple payback {low:.0f} to {high:.0f} years"
    if low > limit:
        return "yes", words
    return ("perhaps" if high > limit else "no"), words


def _floor(case: WallCase, facts: LiningFacts, row: Row) -> _Judgement:
    if facts.floor_share is None:
        return "perhaps", "the room's floor area or a wall's length is missing"
    words = f"{100 * facts.floor_share:.1f} % of the room's floor is lost"
    return ("yes" if facts.floor_share > row["limit"] else "no"), words


def _listed(case: WallCase, facts: LiningFacts, row: Row) -> _Judgement:
    if case.site.listed is None:
        return "perhaps", "nobody has said whether the house is listed"
    return ("yes", "the house is listed") if case.site.listed else ("no", "not listed, as answered")


def _rain(case: WallCase, facts: LiningFacts, row: Row) -> _Judgement:
    if facts.construction not in SOLID:
        return "no", "the wall has a cavity, which drains"
    zone = case.site.exposure_zone
    if zone is None:
        return "perhaps", "the rain zone is not known"
    return ("yes" if zone >= 3 else "no"), f"rain zone {zone}"


def _answer(name: str, what: str) -> _Judge:
    def judge(case: WallCase, facts: LiningFacts, row: Row) -> _Judgement:
        value = getattr(case.site, name)
        if said_yes(value):
            told = "" if value is True or str(value).lower() == "yes" else f": {str(value).replace('_', ' ')}"
            return "yes", f"{what}{told}"
        if said_no(value):
            return "no", "answered no" if value is False else f"answered {str(value).replace('_', ' ')}"
        return "perhaps", f"nobody has said whether there is {what}"

    return judge


def _asbestos(case: WallCase, facts: LiningFacts, row: Row) -> _Judgement:
    coating, built = case.site.textured_coating, case.declared.built
    if built is not None and built >= ASBESTOS_YEAR:
        return "no", f"built {built}"
    if said_yes(coating):
        return "yes", "there is a textured coating"
    if said_no(coating):
        return "no", "no textured coating, as answered"
    return "perhaps", "nobody has said whether there is a textured coating"


def _features(kinds: tuple[str, ...], what: str) -> _Judge:
    def judge(case: WallCase, facts: LiningFacts, row: Row) -> _Judgement:
        here = [f.id for f in case.declared.features if any(kind in f.kind for kind in kinds)]
        if here:
            return "yes", f"{what} on this wall ({', '.join(here)})"
        return "perhaps", f"no {what} is marked; look for hidden ones"

    return judge


def _vapour_closed(case: WallCase, facts: LiningFacts, row: Row) -> _Judgement:
    thick = facts.insulation in VAPOUR_CLOSED and facts.insulation_mm > CLOSED_LIMIT_MM
    if not thick or facts.construction not in SOLID:
        return "no", "not a thick vapour-closed board on a solid wall"
    return "yes", f"{facts.insulation_mm:g} mm of {facts.insulation.replace('_', ' ')} on a wall without a cavity"


def _lead(case: WallCase, facts: LiningFacts, row: Row) -> _Judgement:
    built = case.declared.built
    if built is None:
        return "perhaps", "the year of building is not known"
    return ("yes" if built < LEAD_YEAR else "no"), f"built {built}"


_JUDGES: dict[str, _Judge] = {
    "element_share": _share,
    "target_u": _target,
    "threshold_u": _threshold,
    "payback": _payback,
    "floor_loss": _floor,
    "listed": _listed,
    "rain": _rain,
    "damp": _answer("damp", "damp"),
    "joists": _answer("joists", "timber built into the wall"),
    "asbestos": _asbestos,
    "electrical": _features(("socket", "switch", "light", "consumer", "cable", "meter"), "electrical point"),
    "gas": _features(("gas", "flue", "boiler", "vent", "airbrick"), "gas, flue or vent"),
    "vapour_closed": _vapour_closed,
    "lead": _lead,
}
