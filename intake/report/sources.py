"""What the figures rest on: answers, tables with edition and date, rules, program and inputs."""

from __future__ import annotations

from intake.report import reading
from intake.report.context import SourceRow
from intake.report.reading import Data
from intake.report.words import listing, name_of, plain, sentence
from intake.results import Geometry
from intake.survey import Survey

TABLES = (
    "materials",
    "surfaces",
    "existing_walls",
    "linings",
    "fixings",
    "vapour_sheets",
    "regions",
    "heating",
    "lining_costs",
    "board_sizes",
    "board_weights",
    "board_rules",
    "rules",
)
ANSWERS = {
    "region": "Region, for the climate",
    "nation": "Nation, for the rules",
    "heating": "Heating",
    "listed": "Listed or in a conservation area",
    "exposure_zone": "Exposure to driving rain, zone 1 to 4",
    "damp": "Damp",
    "joists": "Joist ends in the wall",
    "textured_coating": "Textured coating",
    "occupancy": "How the rooms are lived in",
    "ventilation": "Ventilation",
    "flue": "Flue, fire or boiler",
    "electrics": "Wiring in the wall",
    "lead_paint": "Old paint",
    "finish": "Outer finish",
    "brick_condition": "State of the bricks outside",
    "party_wall": "Shared with a neighbour",
}
PERSON = "the person's answer in survey.json"


def source_rows(survey: Survey, estimate: Data) -> tuple[SourceRow, ...]:
    """Return the assumptions: the design, the answers, what nobody answered, the tables, the rules."""
    design = survey.design
    rows = [
        SourceRow(
            what="Lining in mind",
            value=f"{design.insulation_mm:g} mm {name_of(design.insulation)}, {design.board_mm:g} mm board, "
            f"{name_of(design.fixing)}",
            source=PERSON if survey.model_fields_set & {"design"} else "invented default",
        ),
        SourceRow(
            what="Target transmittance",
            value=f"{design.target_u:.2f} W/m²K",
            source="Approved Document L vol. 1 (2021), table 4.3, for an inside lining; yours may differ",
        ),
    ]
    unanswered = []
    for key, label in ANSWERS.items():
        said = getattr(survey.site, key)
        if said is None:
            unanswered.append(label.lower())
            continue
        words = "yes" if said is True else "no" if said is False else _answer(said)
        rows.append(SourceRow(what=label, value=words, source=PERSON))
    if unanswered:
        rows.append(
            SourceRow(
                what="Not answered",
                value="; ".join(unanswered),
                source="taken as not known; cautions say where it matters",
            )
        )
    for line in reading.items(estimate, "assumptions", "sources"):
        rows.append(
            SourceRow(
                what=plain(reading.text(line, "what", "name", "item")),
                value=plain(reading.text(line, "value", "words")),
                source=plain(reading.text(line, "source")),
            )
        )
    said = [
        (entry, line)
        for entry in reading.items(estimate, "walls")
        for line in reading.texts(reading.heat_of(entry), "assumptions")
    ]
    for line in dict.fromkeys(line for _, line in said):
        what, _, value = line.partition(":")
        walls = [name_of(reading.text(entry, "id")) for entry, other in said if other == line]
        rows.append(SourceRow(what=plain(what), value=sentence(value), source=f"assumed for {listing(walls)}"))
    rows += _table_rows()
    rows += _rule_rows(estimate)
    return tuple(rows)


PROPER = {"east_anglia": "East Anglia", "wales": "Wales", "england": "England", "scotland": "Scotland"}


def _answer(said: object) -> str:
    """Return an answer in words: ``gas_boiler`` as gas boiler."""
    return PROPER.get(str(said), name_of(str(said)))


def _table_rows() -> list[SourceRow]:
    from estimator.tables import read_table
    from vision.findings import PerpendError

    rows = []
    for name in TABLES:
        try:
            table = read_table(name)
        except (PerpendError, FileNotFoundError):
            continue
        rows.append(
            SourceRow(
                what=f"Table: {plain(table.title)}",
                value=f"{len(table.rows)} rows, each with its source",
                source=f"{plain(table.edition)}; checked {table.checked.isoformat()}",
            )
        )
    return rows


def _rule_rows(estimate: Data) -> list[SourceRow]:
    seen: dict[str, SourceRow] = {}
    for entry in reading.items(estimate, "walls"):
        for note in reading.items(entry, "heat.rules", "rules"):
            key = reading.text(note, "key")
            edition, source = reading.text(note, "edition"), reading.text(note, "source")
            if key and (edition or source):
                seen.setdefault(
                    key,
                    SourceRow(
                        what=f"Rule: {plain(reading.text(note, 'title'))}",
                        value={"yes": "applies", "no": "does not apply"}.get(
                            reading.text(note, "applies"), "may apply"
                        ),
                        source="; ".join(part for part in (plain(edition), plain(source)) if part),
                    ),
                )
    return list(seen.values())


def spaced(digest: str) -> str:
    """Return a hash in groups of sixteen, so that it fits a phone and a page."""
    return " ".join(digest[start : start + 16] for start in range(0, len(digest), 16))


def reproduce_rows(geometry: Geometry, estimate: Data) -> tuple[SourceRow, ...]:
    """Return what is needed to make the same report again."""
    rows = [
        SourceRow(what="perpend", value=plain(geometry.perpend_version), source="the program that measured"),
        SourceRow(
            what="Inputs of the measurement",
            value=spaced(geometry.inputs_sha256),
            source="SHA-256 of survey.json's meaning, photos and version; the same inputs give the same figures",
        ),
    ]
    hashed = reading.text(estimate, "inputs_sha256")
    if hashed:
        rows.append(
            SourceRow(
                what="Inputs of the estimate", value=spaced(hashed), source="the above with rooms, design and prices"
            )
        )
    rows.append(
        SourceRow(
            what="Photos read",
            value=str(len(geometry.photos)),
            source="re-encoded here without place or camera details",
        )
    )
    return tuple(rows)
