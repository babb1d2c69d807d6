"""Which board each piece comes from: small pieces stacked, columns and strips shared over boards."""

from __future__ import annotations

from typing import TYPE_CHECKING

from estimator.setting_out import Item, Job, Place, Programme, Var

if TYPE_CHECKING:
    pass


def add_strips(p: Programme, job: Job, most: int | None) -> None:
    """Add the strips of boards that small pieces may be cut from."""
    count = len(p.smalls) if most is None else min(most, len(p.smalls))
    for t in range(count):
        width, used = p.integer(0, job.board.width_mm, f"strip{t}.width"), p.choice(f"strip{t}.used")
        p.model.add(width == 0).only_enforce_if(~used)
        p.places.append(Place(name=f"strip{t}", width=width, height=job.board.length_mm))
        p.items.append(Item(name=f"strip{t}", width=width, present=used))


def add_stacks(p: Programme, job: Job) -> None:
    """Add the choice of a place for every small piece, stacked along strips and cut-outs."""
    m, kerf, full = p.model, job.rules.kerf_mm, job.board.width_mm
    load: dict[int, list[Var]] = {j: [] for j in range(len(p.places))}
    for s, small in enumerate(p.smalls):
        somewhere = []
        for j, place in enumerate(p.places):
            if place.name.startswith("strip") and int(place.name[5:]) > s:
                continue
            for turned in (False, True) if small.turn else (False,):
                if not turned and small.height > place.height:
                    continue
                here = p.choice(f"{small.name}@{place.name}{'t' if turned else ''}")
                p.stack[s, j, turned] = here
                somewhere.append(here)
                if turned:
                    m.add(place.width >= small.height).only_enforce_if(here)
                    long = p.integer(0, full, f"{small.name}@{place.name}.long")
                    m.add(long >= small.width - full * (1 - here))
                    load[j].append(long + kerf * here)
                else:
                    m.add(place.width >= small.width).only_enforce_if(here)
                    load[j].append((small.height + kerf) * here)
        m.add(sum(somewhere) == small.present)
    for j, place in enumerate(p.places):
        if load[j]:
            m.add(sum(load[j]) <= place.height + kerf)
    if p.smalls:  # implied by the stacks, but it gives the bound its strength: areas have to fit
        m.add(sum(s.height * s.width for s in p.smalls) <= sum(place.height * place.width for place in p.places))


def roll_length(p: Programme, kerf: int) -> Var:
    """Return the width that everything takes off one endless board, a kerf after each piece [mm]."""
    return sum(item.width + kerf * item.present for item in p.items)


def add_boards(p: Programme, job: Job, count: int) -> None:
    """Add the choice of a board, out of ``count``, for every column and strip."""
    m, kerf, full = p.model, job.rules.kerf_mm, job.board.width_mm
    load: list[list[Var]] = [[] for _ in range(count)]
    for i, item in enumerate(p.items):
        mine = []
        for b in range(min(count, i + 1)):
            here = p.choice(f"{item.name}#b{b}")
            taken = p.integer(0, full, f"{item.name}#b{b}.width")
            m.add(taken >= item.width - full * (1 - here))
            load[b].append(taken + kerf * here)
            p.board_of[i, b] = here
            mine.append(here)
        m.add(sum(mine) == item.present)
    for b in range(count):
        m.add(sum(load[b]) <= full + kerf)
    m.add(roll_length(p, kerf) <= count * (full + kerf))
