"""Boards on sale and the rules for setting them out: records over the data tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

from estimator.tables import Table, read_table
from vision.findings import PerpendError


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardSize:
    """A board on sale, mm. ``on_order``: not kept by merchants."""

    key: str
    width_mm: int
    length_mm: int
    on_order: bool = False

    @property
    def area_m2(self) -> float:
        """The board's face, m²."""
        return self.width_mm * self.length_mm / 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardRules:
    """Setting-out and cutting rules, mm (see ``estimator/data/board_rules.toml`` for reasons and sources)."""

    kerf_mm: int
    jamb_clear_mm: int
    socket_clear_mm: int
    least_strip_mm: int
    least_piece_mm: int
    foot_gap_mm: int
    foot_gap_most_mm: int
    turn_small_pieces: bool
    reusable_mm: int
    lift_one_person_kg: float
    bead_clear_mm: int
    plaster_mm: int
    embed_mm: int
    overhang_mm: int
    return_mm: int
    cut_tolerance_mm: int
    reveal_tolerance_mm: int
    plaster_sd_mm: float
    frame_sd_mm: float
    visible_frame_mm: float
    tape_chance: float
    tape_count_chance: float
    tape_most: int


def board_rules(table: Table | None = None) -> BoardRules:
    """Return the rules in ``table``, or the project's own.

    Raises
    ------
    PerpendError
        When a rule is missing or is not a number of at least zero.
    """
    table = table or read_table("board_rules")
    values: dict[str, object] = {}
    for field in fields(BoardRules):
        value = table.row(field.name).get("value")
        if isinstance(value, bool) or not isinstance(value, int | float) or value < 0:
            raise PerpendError(f"table {table.name}: {field.name} is {value!r}. Write a number of at least 0.")
        values[field.name] = bool(value) if field.name == "turn_small_pieces" else value
    return BoardRules(**values)  # type: ignore[arg-type]


def sizes_on_sale(insulation_mm: float, *, use: str = "wall", table: Table | None = None) -> tuple[BoardSize, ...]:
    """Return the boards sold with this much insulation, shortest first.

    Parameters
    ----------
    insulation_mm
        Thickness of the insulation [mm].
    use
        ``wall`` or ``reveal``.
    table
        Board sizes; the project's own where None.
    """
    table = table or read_table("board_sizes")
    found = [
        BoardSize(
            key=key, width_mm=int(row["width_mm"]), length_mm=int(row["length_mm"]), on_order=bool(row["on_order"])
        )
        for key, row in table.rows.items()
        if row.get("use", "wall") == use and any(abs(insulation_mm - t) < 0.5 for t in row["insulation_mm"])
    ]
    return tuple(sorted(found, key=lambda s: (s.length_mm, s.width_mm, s.key)))


def board_weight_kg(
    size: BoardSize, *, insulation: str, insulation_mm: float, board_mm: float, table: Table | None = None
) -> float:
    """Return what one board weighs [kg].

    Parameters
    ----------
    size
        The board.
    insulation
        Key of the insulation; one that the table lacks is taken as the heaviest foam.
    insulation_mm, board_mm
        Thicknesses of insulation and plasterboard [mm].
    table
        Weights; the project's own where None.
    """
    rows = (table or read_table("board_weights")).rows
    return size.area_m2 * face_weight_kg_m2(rows, insulation, insulation_mm, board_mm)


def face_weight_kg_m2(
    rows: Mapping[str, Mapping[str, object]], insulation: str, insulation_mm: float, board_mm: float
) -> float:
    """Return the weight of a laminate per area [kg/m²] from rows with ``kg_per_m3``."""
    foam = rows.get(insulation, rows["phenolic"])
    return (
        float(str(rows["plasterboard"]["kg_per_m3"])) * board_mm + float(str(foam["kg_per_m3"])) * insulation_mm
    ) / 1000
