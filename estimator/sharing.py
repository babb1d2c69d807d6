"""Which board each piece comes from: small pieces stacked, columns and strips shared over boards."""

from __future__ import annotations

import re
from collections.abc import Mapping

from estimator.setting_out import Item, Job, Place, Programme, Var


def add_strips(p: Programme, job: Job, most: int | None) -> None:
    """Add the strips of boards that small pieces may be cut from."""
    count = len(p.smalls) if most is None else min(most, len(p.smalls))
    for t in range(count):
        width, used = p.integer(0, job.board.width_mm, f"strip{t}.width"), p.choice(f"strip{t}.used")
        p.model.add(width == 0).only_enforce_if(~used)
        p.places.append(Place(name=f"strip{t}", width=width, height=job.board.length_mm))
        p.items.append(Item(name=f"strip{t}", width=width, present=used))


def with_strips_first(solution: Mapping[str, int]) -> tuple[dict[str, int], int]:
    """Return a solution with the strips that it uses numbered from 0, and how many those are."""
    used = sorted(
        int(n.removeprefix("strip").removesuffix(".used"))
        for n, v in solution.items()
        if v and n.startswith("strip") and n.endswith(".used")
    )
    order = {t: n for n, t in enumerate(used)}
    found = {}
    for name, value in solution.items():
        if all(int(t) in order for t in re.findall(r"strip(\d+)", name)):
            found[re.sub(r"strip(\d+)", lambda m: f"strip{order[int(m[1])]}", name)] = value
    return found, len(used)


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
    """Add what is cut from which board: each column or strip has a board to itself, or goes on an earlier one's.

    Notes
    -----
    A board is named by the first thing cut from it, so that no two solutions differ by the boards' numbers alone.
    """
    m, kerf, full = p.model, job.rules.kerf_mm, job.board.width_mm
    for n, first in enumerate(p.items):
        p.board_of[n, n] = p.choice(f"{first.name}#first")
    for n, item in enumerate(p.items):
        for f in range(n):
            p.board_of[n, f] = p.choice(f"{item.name}#{p.items[f].name}")
        m.add(sum(p.board_of[n, f] for f in range(n + 1)) == item.present)
    for f, first in enumerate(p.items):
        load = []
        for n in range(f + 1, len(p.items)):
            here, item = p.board_of[n, f], p.items[n]
            m.add_implication(here, p.board_of[f, f])
            taken = p.integer(0, full, f"{item.name}#{first.name}.width")
            m.add(taken >= item.width - full * (1 - here))
            load.append(taken + kerf * here)
        m.add(first.width + sum(load) <= full)
    m.add(sum(p.board_of[f, f] for f in range(len(p.items))) <= count)
    m.add(roll_length(p, kerf) <= count * (full + kerf))
