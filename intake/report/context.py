"""All that the report shows, as documented records: the one context of the HTML page and the PDF.

Every field says in one sentence what it holds (``metadata["help"]``). Figures are already worded and rounded; both
templates only set them. A test walks these records and looks for every shown value on the rendered pages.
"""

# ruff: noqa: RUF009  (said() is dataclasses.field with a help sentence)

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any

from intake.report.drawing import Drawing


def said(help_sentence: str, *, shown: bool = True) -> Any:
    """Return a dataclass field with a help sentence; ``shown`` is False where the value is a key, not words."""
    return field(metadata={"help": help_sentence, "shown": shown})


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The answer in one of four fixed wordings."""

    key: str = said("Which of the four verdicts, as estimate.json names it.", shown=False)
    symbol: str = said("A sign that reads in black and white: ✓, ▲, ■ or ○.")
    words: str = said("The verdict in its fixed wording.")
    because: str = said("One sentence on why, or what to do about it.")
    conditions: tuple[str, ...] = said("What must be settled first, one sentence each.")


@dataclass(frozen=True, slots=True, kw_only=True)
class WallSummary:
    """One wall for the householder."""

    name: str = said("The wall's name.")
    verdict: Verdict = said("The verdict on this wall.")
    width: str = said("Its width with give-or-take, or why it is not measured.")
    height: str = said("Its height with give-or-take, or why it is not measured.")
    area: str = said("Its area less the openings, with give-or-take.")
    follows: str = said("What follows from what the wall is made of.")
    thickness: str = said("The thickness of the wall, with give-or-take, or why it is not measured.")
    construction: str = said("What the wall is made of, in words.")
    how_sure: str = said("How sure that is, as so many in 100.")
    u_now: str = said("Its thermal transmittance today, from the two starting values.")


@dataclass(frozen=True, slots=True, kw_only=True)
class OptionCard:
    """One board of the shortlist, for the householder."""

    role: str = said("Why it is listed: recommended, thinner or thicker.")
    planned: bool = said("Whether this is the board that the order and drawings plan with.", shown=False)
    name: str = said("The board in words.")
    build_up: str = said("How far the wall comes forward.")
    u_before: str = said("Thermal transmittance today, as a range over the two starting values, W/m²K.")
    u_after: str = said("Thermal transmittance after lining, likewise.")
    target: str = said("Whether it meets the target, in words.")
    floor_lost: str = said("Floor area lost in m² and as a share of the room.")
    saving: str = said("Energy and money saved in a year, as a range.")
    cost: str = said("Cost as a range from invented prices.")
    payback: str = said("Simple payback in years, as a range.")


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardChoice:
    """The recommended board and the two next to it, for walls that are lined alike."""

    walls: str = said("The walls it is for.")
    shortlist: tuple[OptionCard, ...] = said("The boards, thin to thick.")
    note: str = said("What the figures do not say.")


@dataclass(frozen=True, slots=True, kw_only=True)
class OptionRow:
    """One lining on one wall, in short, for the adviser."""

    name: str = said("The lining in words.")
    build_up: str = said("How far the wall comes forward, mm.")
    u_after: str = said("Thermal transmittance after lining over the two starting values, W/m²K.")
    u_range: str = said("The same over everything that is uncertain, gap and construction included, W/m²K.")
    target: str = said("Whether it meets the target: yes, with the gap, or no.")
    f_rsi: str = said("Temperature factor of the inside face; 0.75 or more is asked for against mould.")
    moisture: str = said("What the moisture screening says, in short; it never approves.")
    floor_lost: str = said("Floor area lost, m².")
    saving: str = said("Energy saved in a year, kWh.")
    cost: str = said("Cost from invented prices.")
    payback: str = said("Simple payback in years.")
    mark: str = said("● where no other lining is both thinner and warmer, ◉ for the planned board, else empty.")


@dataclass(frozen=True, slots=True, kw_only=True)
class WallOptions:
    """Every lining of one wall."""

    wall: str = said("The wall's name.")
    rows: tuple[OptionRow, ...] = said("The linings, by kind and thickness.")
    causes: tuple[str, ...] = said("What stretches the saving, and by what factor.")
    notes: tuple[str, ...] = said("What must be known of some of the linings, one sentence each.")


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderRow:
    """One line of the order."""

    group: str = said("What part of the job the line belongs to.")
    item: str = said("What to buy.")
    spec: str = said("Its specification.")
    quantity: str = said("How many, with the unit.")
    price: str = said("Invented price range for the line, or empty.")
    why: str = said("Why it is on the list.")


@dataclass(frozen=True, slots=True, kw_only=True)
class BillRow:
    """One line of the bill."""

    what: str = said("Materials, trades, labour, reserve or total.")
    amount: str = said("Its range in pounds, without VAT.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of the work."""

    day: str = said("The day of the work it falls on; day 0 is before the work.")
    what: str = said("What is done.")
    who: str = said("Who does it.")
    time: str = said("How long it takes, and how long to wait after it.")
    stop: str = said("The word stop where nothing goes on before it is settled, else empty.")


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeRow:
    """One length worth taping before ordering."""

    place: str = said("Which wall and what on it.")
    what: str = said("The length to tape.")
    now: str = said("What the photos say, with give-or-take.")
    why: str = said("What it would change.")
    reading: str = said("Room to write the reading.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A caution that applies to this survey."""

    group: str = said("Whether it applies here, may apply, or holds for every lining.")
    heading: str = said("The hazard or rule in a word or two.")
    because: str = said("Why it applies here, with what was answered or found.")
    action: str = said("What to do, and whom to ask.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A drawing or chart."""

    kind: str = said("elevation, boards, cut_plan, section, plan or chart.", shown=False)
    wall: str = said("The wall or room that it shows.", shown=False)
    title: str = said("The heading of the drawing.")
    caption: str = said("How to read it.")
    scale: str = said("Its scale in words, as printed from the PDF.")
    alt: str = said("What it shows, for someone who cannot see it.")
    drawing: Drawing = said("Its lines; SVG, PDF and DXF are made from these.", shown=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One job that follows from the wall coming forward."""

    where: str = said("The wall and the thing.")
    what: str = said("What is to be done, with its figures.")
    why: str = said("Why, or what happens if it is forgotten.")


@dataclass(frozen=True, slots=True, kw_only=True)
class TradeTasks:
    """The jobs of one trade."""

    trade: str = said("The trade or person.")
    tasks: tuple[Task, ...] = said("The jobs of that trade, one by one.")


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoEvidence:
    """One photo, blanked beyond the wall."""

    file: str = said("The photo's file name.")
    purpose: str = said("What the photo is for.")
    measured: str = said("What was measured from it.")
    references: str = said("The references found in it.")
    picture_jpeg: bytes | None = said("The picture re-encoded without metadata, or None.", shown=False)
    width_px: int = said("Its width as embedded, pixels.", shown=False)
    height_px: int = said("Its height as embedded, pixels.", shown=False)
    alt: str = said("What it shows, for someone who cannot see it.")
    note: str = said("Why it is not shown, or what was covered.")


@dataclass(frozen=True, slots=True, kw_only=True)
class DimensionRow:
    """One measured length or area."""

    place: str = said("The wall, or the opening or thing on it.")
    what: str = said("What was measured.")
    value: str = said("The value with its give-or-take, or why it is missing.")
    sd: str = said("Its standard uncertainty.")
    cause: str = said("What limits it most, or that it was taped.")


@dataclass(frozen=True, slots=True, kw_only=True)
class CueRow:
    """One thing that spoke for a construction."""

    cue: str = said("The kind of cue.")
    found: str = said("What was found, with its give-or-take.")
    speaks_for: str = said("Which construction it speaks for, and how strongly.")


@dataclass(frozen=True, slots=True, kw_only=True)
class ConstructionEvidence:
    """Solid or cavity: the evidence for one wall."""

    wall: str = said("The wall's name.")
    verdict: str = said("The judgement in words.")
    probabilities: tuple[str, ...] = said("Each construction with its probability.")
    cues: tuple[CueRow, ...] = said("What spoke for it.")
    settle: str = said("What single photo or check would settle it.")
    follows: str = said("What follows from it.")


@dataclass(frozen=True, slots=True, kw_only=True)
class MoistureEvidence:
    """The moisture screening of one wall."""

    wall: str = said("The wall's name.")
    words: str = said("The screening's result in words.")
    surface: str = said("The inside face's temperature on a cold night before and after, and the factors.")
    junctions: tuple[str, ...] = said("What the edges, reveals and floors do, one sentence each.")
    limits: str = said("What the screening leaves out.")


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceRow:
    """One assumption or figure taken from elsewhere."""

    what: str = said("The assumption.")
    value: str = said("The value of the assumption, in words.")
    source: str = said("Where it comes from, with edition and date, or that it is invented.")


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingRow:
    """One open finding."""

    symbol: str = said("A sign that reads in black and white.")
    severity: str = said("Stop, Warning or Note.")
    code: str = said("The finding's stable code.")
    where: str = said("The photo, wall, opening or point.")
    message: str = said("What was found.")
    remedy: str = said("What to do next.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rectified:
    """The straightened picture of a wall."""

    wall: str = said("The wall's name.")
    alt: str = said("What it shows, for someone who cannot see it.")
    caption: str = said("Its scale and grid.")
    picture_jpeg: bytes = said("The picture, re-encoded without metadata.", shown=False)
    width_px: int = said("Its width, pixels.", shown=False)
    height_px: int = said("Its height, pixels.", shown=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class BrickPicture:
    """A photo of the outside with the joints and bricks that were found drawn over it."""

    file: str = said("The photo's file name.")
    wall: str = said("The wall behind the bricks.")
    alt: str = said("What it shows, for someone who cannot see it.")
    caption: str = said("What was read, and how to check it by eye.")
    picture_jpeg: bytes = said("The picture, re-encoded without metadata.", shown=False)
    width_px: int = said("Its width, pixels.", shown=False)
    height_px: int = said("Its height, pixels.", shown=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """The whole report."""

    title: str = said("The survey's title.")
    rooms_and_walls: str = said("Which rooms and walls it covers.")
    made_on: str = said("The day on which the report was made.")
    verdict: Verdict = said("The verdict on the whole survey, the worst of its walls.")
    next_step: str = said("The one next thing to do.")
    walls: tuple[WallSummary, ...] = said("The inside walls, one summary each.")
    boards: tuple[BoardChoice, ...] = said("The recommended board and its neighbours.")
    options: tuple[WallOptions, ...] = said("The linings by wall.")
    order: tuple[OrderRow, ...] = said("The order list, line by line.")
    order_note: str = said("What the order rests on.")
    tape: tuple[TapeRow, ...] = said("The lengths worth taping first.")
    tape_note: str = said("How to tape, or that nothing need be taped.")
    cautions: tuple[Caution, ...] = said("The cautions that apply here.")
    drawings: tuple[Figure, ...] = said("The drawings, each made once for page, PDF and DXF.")
    charts: tuple[Figure, ...] = said("The charts, each with its table elsewhere.")
    bill: tuple[BillRow, ...] = said("What the job costs, as ranges.")
    bill_note: str = said("Whose prices these are and what they leave out.")
    carrying: str = said("What the boards weigh and how many people lift one.")
    waste: tuple[str, ...] = said("What is left over and where it goes, one sentence each.")
    fixing_notes: tuple[str, ...] = said("How the boards are fixed and the air line closed, one sentence each.")
    knock_on: tuple[TradeTasks, ...] = said("What moves when the wall comes forward, by trade.")
    sequence: tuple[Step, ...] = said("The order of the work, step by step.")
    moisture: tuple[MoistureEvidence, ...] = said("The moisture screening by wall.")
    photos: tuple[PhotoEvidence, ...] = said("Every photo, shown or not, with what it gave.")
    brickwork: tuple[BrickPicture, ...] = said("The brick faces with what was found drawn over them.")
    rectified: tuple[Rectified, ...] = said("The straightened walls.")
    dimensions: tuple[DimensionRow, ...] = said("Every dimension.")
    construction: tuple[ConstructionEvidence, ...] = said("The construction cues by wall.")
    sources: tuple[SourceRow, ...] = said("Assumptions, sources and dates.")
    findings: tuple[FindingRow, ...] = said("The findings that are open.")
    reproduce: tuple[SourceRow, ...] = said("Program version and hashes, so that the result can be made again.")
    coverage: str = said("What give or take means.")
    local_first: str = said("That local codes and licensed practice come first.")
    footer: str = said("What the report is not.")


def shown_texts(record: object) -> Iterator[tuple[str, str]]:
    """Yield (field path, text) of every text in the records that must be seen on the pages."""
    if not is_dataclass(record) or isinstance(record, type):
        return
    for item in fields(record):
        if not item.metadata.get("shown", False):
            continue
        value = getattr(record, item.name)
        name = f"{type(record).__name__}.{item.name}"
        if isinstance(value, str):
            yield name, value
        elif is_dataclass(value):
            yield from shown_texts(value)
        elif isinstance(value, tuple):
            for part in value:
                if isinstance(part, str):
                    yield name, part
                else:
                    yield from shown_texts(part)
