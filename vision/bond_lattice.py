"""Bricks from perpends: how joint-like each place of a course is, and the likeliest row of stretchers and headers."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.walls import FloatArray

IntArray = NDArray[np.intp]
STRETCHER, HEADER, OTHER, BLANK = 0, 1, 2, 3
_NEG = -1e9
_SHOWN = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Module:
    """Stretcher and header with one joint each, px of the face, and the spread allowed, as a share."""

    stretcher_px: float
    header_px: float
    tolerance: float = 0.09


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseRow:
    """The bricks of one course: ends (n + 1,) px and kind (n,) of ``STRETCHER``, ``HEADER``, ``OTHER``, ``BLANK``.

    ``whole`` (n,) is True for stretchers and headers of which both perpends were seen; only these are counted.
    """

    ends_px: FloatArray
    kinds: IntArray
    whole: NDArray[np.bool_]
    score: float


def perpend_signal(line: FloatArray, pitch_px: float) -> FloatArray:
    """Return how joint-like each column of each course is (n_courses, width), about 1 at a perpend.

    Parameters
    ----------
    line
        Mortar-likeness along each course (n_courses, width), from `course_lines`.
    pitch_px
        Course height [px].

    Notes
    -----
    A joint differs from both sides; the side that differs less counts, so that a dark brick beside a light one is no
    joint.
    """
    gap = max(2, round(0.16 * pitch_px))
    width = max(2, round(0.18 * pitch_px))
    side = _mean_window(line, width)
    left, right = np.roll(side, gap + width // 2, axis=1), np.roll(side, -(gap + width // 2), axis=1)
    signal = line - np.maximum(left, right)
    reach = gap + width
    signal[:, :reach] = 0.0
    signal[:, -reach:] = 0.0
    result: FloatArray = signal
    return result


def _trimmed(inner: FloatArray) -> FloatArray:
    """Return the mean of the middle half of the rows (n, width): one chip or leaf does not make a joint."""
    ordered = np.sort(inner, axis=1)
    n = ordered.shape[1]
    middle: FloatArray = ordered[:, n // 4 : n - n // 4].mean(axis=1)
    return middle


def _mean_window(line: FloatArray, width: int) -> FloatArray:
    from scipy.ndimage import uniform_filter1d

    smooth: FloatArray = uniform_filter1d(line, width, axis=1)
    return smooth


def joint_evidence(signal: FloatArray, seen: FloatArray) -> FloatArray:
    """Return the log-likelihood ratio of a joint at each column (n_courses, width), clipped at both ends.

    Parameters
    ----------
    signal
        From `perpend_signal` (n_courses, width).
    seen
        Share of each column that is seen (n_courses, width); unseen places say nothing.
    """
    known = signal[seen > 0.7]
    if known.size < 50:
        return np.zeros_like(signal)
    strong = np.percentile(known, 99.0)
    level = max(float(np.median(known[known > 0.5 * strong])) if (known > 0.5 * strong).any() else 1.0, 1e-6)
    noise = max(float(np.median(np.abs(known - np.median(known)))) * 1.4826, 0.12 * level)
    z = (signal - 0.45 * level) * level / noise**2
    crest = np.clip(signal / level, 0.0, 2.0)
    return np.where(seen > 0.7, np.clip(z, -3.0, 5.0) + 0.5 * crest, 0.0)


def lay_courses(evidence: FloatArray, seen: FloatArray, module: Module) -> list[CourseRow]:
    """Return the likeliest bricks of every course, by dynamic programming over where its perpends are.

    Parameters
    ----------
    evidence
        Log-likelihood ratio of a joint (n_courses, width).
    seen
        Share of each column that is seen (n_courses, width).
    module
        Stretcher and header lengths.

    Notes
    -----
    A row is a chain of stretchers, headers, other pieces (closers, bats) and blanks (hidden places). It gains the
    evidence of each perpend that it uses and loses what a brick would have to ignore.
    """
    n, w = evidence.shape
    kinds, lengths, cost = _pieces(module)
    inside = _inside_penalty(evidence)
    best = np.full((n, w + 1), _NEG)
    choice = np.zeros((n, w + 1), dtype=np.intp)
    best[:, 0] = 0.0
    hidden = np.concatenate([np.zeros((n, 1)), np.cumsum(seen < 0.5, axis=1)], axis=1)
    trim = max(2, round(0.09 * module.stretcher_px))
    rows = np.arange(n)[:, None]
    blank = kinds == BLANK
    for x in range(1, w + 1):
        usable = lengths <= x
        start = x - lengths[usable]
        lost = inside[rows, np.maximum(x - trim, start)[None, :]] - inside[rows, np.minimum(start + trim, x)[None, :]]
        lost = np.maximum(lost, 0.0)
        blanked = hidden[rows, x] - hidden[rows, start[None, :]]
        share = blanked / lengths[usable][None, :]
        step = np.where(blank[usable][None, :], cost[usable][None, :] * share, -lost - 8.0 * share)
        gain = evidence[:, x - 1] if x < w else np.zeros(n)
        step = step + np.where(blank[usable][None, :], 0.0, gain[:, None])
        total = best[rows, start[None, :]] + step - cost[usable][None, :]
        pick = total.argmax(axis=1)
        best[:, x] = total[np.arange(n), pick]
        choice[:, x] = np.flatnonzero(usable)[pick]
    return [_trace(choice[i], kinds, lengths, evidence[i], float(best[i, w])) for i in range(n)]


def _pieces(module: Module) -> tuple[IntArray, IntArray, FloatArray]:
    """Return kind, length and cost of every piece that a course may hold."""
    pieces: list[tuple[int, int, float]] = []
    for kind, nominal in ((STRETCHER, module.stretcher_px), (HEADER, module.header_px)):
        reach = max(2.0, module.tolerance * module.stretcher_px * (1.0 if kind == STRETCHER else 0.6))
        for length in range(int(np.ceil(nominal - reach)), int(np.floor(nominal + reach)) + 1):
            pieces.append((kind, length, 0.5 * ((length - nominal) / (0.45 * reach)) ** 2))
    pieces += [(OTHER, int(length), 4.5) for length in np.arange(0.22, 0.9, 0.045) * module.stretcher_px]
    shortest, longest = (max(3, int(share * module.stretcher_px)) for share in (0.12, 1.2))
    pieces += [(BLANK, length, 3.0 + length / module.stretcher_px) for length in range(shortest, longest, 2)]
    pieces.append((BLANK, 1, 3.0))
    kinds, lengths, costs = zip(*pieces, strict=True)
    return np.array(kinds), np.array(lengths), np.array(costs)


def _inside_penalty(evidence: FloatArray) -> FloatArray:
    """Return the running sum of the evidence at local peaks (n, w + 1), which a brick across them would ignore."""
    peak = (evidence > 0) & (evidence >= np.roll(evidence, 1, axis=1)) & (evidence > np.roll(evidence, -1, axis=1))
    return np.concatenate([np.zeros((len(evidence), 1)), np.cumsum(np.where(peak, evidence, 0.0), axis=1)], axis=1)


def _trace(choice: IntArray, kinds: IntArray, lengths: IntArray, evidence: FloatArray, score: float) -> CourseRow:
    width = len(evidence)
    ends, found = [width], []
    x = width
    while x > 0:
        piece = choice[x]
        found.append(int(kinds[piece]))
        x -= int(lengths[piece])
        ends.append(x)
    merged_ends = [float(ends[-1])]
    merged: list[int] = []
    for kind, end in zip(reversed(found), reversed(ends[:-1]), strict=True):
        if merged and kind == BLANK and merged[-1] == BLANK:
            merged_ends[-1] = float(end)
        else:
            merged.append(kind)
            merged_ends.append(float(end))
    at = np.array(merged_ends)
    shown = evidence[np.clip(at.astype(np.intp) - 1, 0, width - 1)] > _SHOWN
    shown[0] = shown[-1] = False
    kinds_found = np.array(merged, dtype=np.intp)
    whole = (kinds_found <= HEADER) & shown[:-1] & shown[1:]
    return CourseRow(ends_px=at, kinds=kinds_found, whole=whole, score=score)


def joint_width(line: FloatArray, rows: list[CourseRow], pitch_px: float) -> float:
    """Return the width of the perpends at half their height, as a share of the course height; 0 where none shows.

    Parameters
    ----------
    line
        Mortar-likeness along each course (n_courses, width).
    rows
        The bricks of each course.
    pitch_px
        Course height [px].
    """
    reach = round(0.45 * pitch_px)
    windows = [
        line[k, int(end) - reach : int(end) + reach + 1]
        for k, row in enumerate(rows)
        for end in row.ends_px[:-1][row.whole]
        if reach < end < line.shape[1] - reach - 1
    ]
    if len(windows) < 8:
        return 0.0
    profile = np.median([np.roll(w, reach - _crest(w, reach)) for w in windows], axis=0)
    floor = float(np.median(np.r_[profile[: reach // 2], profile[-(reach // 2) :]]))
    half = floor + 0.5 * (float(profile[reach]) - floor)
    left, right = _fall(profile[reach::-1], half), _fall(profile[reach:], half)
    return (left + right) / pitch_px


def _crest(window: FloatArray, reach: int) -> int:
    """Return where a window is highest within two pixels of its middle."""
    return reach - 2 + int(window[reach - 2 : reach + 3].argmax())


def _fall(side: FloatArray, half: float) -> float:
    """Return how far along a falling side it passes a height."""
    below = np.flatnonzero(side < half)
    if not len(below) or below[0] == 0:
        return float(len(side))
    i = int(below[0])
    return i - 1 + float((side[i - 1] - half) / max(float(side[i - 1] - side[i]), 1e-9))


def course_lines(strips: FloatArray, pitch_px: float) -> FloatArray:
    """Return mortar-likeness along each course (n_courses, width) from its strips (n_courses, rows, width)."""
    from scipy.ndimage import gaussian_filter1d

    rows = strips.shape[1]
    line: FloatArray = gaussian_filter1d(
        _trimmed(strips[:, int(0.25 * rows) : int(0.78 * rows)]), 0.035 * pitch_px, axis=1
    )
    return line


def aligned_share(rows: list[CourseRow], stretcher_px: float) -> float:
    """Return the share of perpends that continue in the next course: near 0 in any bond, high in boards and textures.

    Parameters
    ----------
    rows
        Courses from the top down.
    stretcher_px
        Stretcher with one joint [px]; perpends within 0.06 of it count as one line.
    """
    ends = []
    for row in rows:
        whole = np.concatenate([row.ends_px[:-1][row.whole], row.ends_px[1:][row.whole]])
        ends.append(np.unique(whole))
    near, total = 0, 0
    for above, below in itertools.pairwise(ends):
        if len(above) and len(below):
            gap = np.abs(above[:, None] - below[None, :]).min(axis=1)
            near += int((gap < 0.06 * stretcher_px).sum())
            total += len(gap)
    return near / total if total else 1.0


def module_candidates(evidence: FloatArray, pitch_px: float, *, count: int = 3) -> list[Module]:
    """Return likely modules from the distances between neighbouring strong perpends, best first, rat-trap's own last.

    Parameters
    ----------
    evidence
        Log-likelihood ratio of a joint (n_courses, width).
    pitch_px
        Course height [px].

    Notes
    -----
    A stretcher with its joint is 2.5 to 4.2 courses long (brick 203 to 240 mm, course 57 to 90 mm: histories of brick
    sizes), a header half of it. Bricks on edge: stretcher 2.0 courses, header 0.67 (215, 65, course 112.5 mm).
    """
    distances, weights = _gaps(evidence, pitch_px)
    if len(distances) < 8:
        return []
    grid = np.arange(2.5, 4.25, 0.03) * pitch_px
    score = np.array([_suits(distances, weights, s, s / 2.0) for s in grid])
    modules: list[Module] = []
    for i in np.argsort(-score):
        if all(abs(grid[i] - m.stretcher_px) > 0.2 * pitch_px for m in modules):
            modules.append(Module(stretcher_px=float(grid[i]), header_px=float(grid[i]) / 2.0))
        if len(modules) == count:
            break
    edge = np.arange(1.8, 2.25, 0.02) * pitch_px
    score = np.array([_suits(distances, weights, s, s / 3.0 + 0.02 * pitch_px) for s in edge])
    s = float(edge[int(score.argmax())])
    modules.append(Module(stretcher_px=s, header_px=s / 3.0 + 0.02 * pitch_px, tolerance=0.08))
    return modules


def _gaps(evidence: FloatArray, pitch: float) -> tuple[FloatArray, FloatArray]:
    distances, weights = [], []
    for row in evidence:
        peak = np.flatnonzero((row > 1.0) & (row >= np.roll(row, 1)) & (row > np.roll(row, -1)))
        if len(peak) < 2:
            continue
        kept = [int(peak[0])]
        for p in peak[1:]:
            if p - kept[-1] > 0.4 * pitch:
                kept.append(int(p))
            elif row[p] > row[kept[-1]]:
                kept[-1] = int(p)
        step = np.diff(kept)
        distances.append(step)
        weights.append(np.minimum(row[kept[:-1]], row[kept[1:]]))
    if not distances:
        return np.zeros(0), np.zeros(0)
    return np.concatenate(distances).astype(float), np.concatenate(weights)


def _suits(distances: FloatArray, weights: FloatArray, stretcher: float, header: float) -> float:
    width = 0.04 * stretcher
    near_s = np.exp(-0.5 * ((distances - stretcher) / width) ** 2)
    near_h = np.exp(-0.5 * ((distances - header) / (0.8 * width)) ** 2)
    return float(
        (weights * distances * np.maximum(near_s, near_h)).sum() / max(float((weights * distances).sum()), 1e-9)
    )
