"""The measures as one table: seconds and memory by size, how each grows, and who takes how many times as long."""

from __future__ import annotations

import math
from collections.abc import Sequence

from tests.benchmarks.measure import Measured
from tests.benchmarks.steps import OURS

FROM = 10_000  # jobs; below, what does not grow at all weighs too much


def growth(of: Sequence[Measured]) -> float | None:
    """Exponent of the growth of CPU seconds from :data:`FROM` jobs to the largest size measured, or of all sizes."""
    known = sorted((each.jobs, each.cpu_s) for each in of if each.cpu_s)
    known = [one for one in known if one[0] >= FROM] if sum(size >= FROM for size, _ in known) > 1 else known
    if len(known) < 2:
        return None
    (small, first), (large, last) = known[0], known[-1]
    return math.log(last / first) / math.log(large / small)


def together(found: Sequence[Measured], sizes: Sequence[int]) -> list[str]:
    """Two rows: our seconds for all work that a peer did at a size, and those of the fastest peer at each, added up."""
    ours, fastest = [], []
    for size in sizes:
        own = {each.work: each.cpu_s for each in found if each.jobs == size and each.who == OURS and each.cpu_s}
        others: dict[str, float] = {}
        for each in found:
            if each.jobs == size and each.who != OURS and each.cpu_s and each.work in own:
                others[each.work] = min(each.cpu_s, others.get(each.work, math.inf))
        mine, theirs = sum(own[work] for work in others), sum(others.values())
        ours.append(f"{mine:.3g} s for {len(others)} kinds" if others else "–")
        fastest.append(f"{theirs:.3g} s (×{theirs / mine:.1f})" if others else "–")
    what = "all work that another tool did too"
    return [
        f"| {what} | {who} | {' | '.join(cells)} | – |"
        for who, cells in ((OURS, ours), ("the fastest other at each", fastest))
    ]


def _cell(each: Measured | None, ours: Measured | None) -> str:
    if each is None:
        return "–"
    if each.cpu_s is None:
        return each.word
    ratio = ""
    if ours is not None and ours.cpu_s and each is not ours:
        ratio = f" (×{each.cpu_s / ours.cpu_s:.1f})"
    return f"{each.cpu_s:.3g} s{ratio}, {each.peak_mib:.0f} MiB"


def table(found: Sequence[Measured]) -> str:
    """A Markdown table, one row a step; a peer's ratio is its CPU seconds over ours at the same size."""
    sizes = sorted({each.jobs for each in found})
    rows = list(dict.fromkeys((each.work, each.who) for each in found))
    at = {(each.work, each.who, each.jobs): each for each in found}
    ours = {(each.work, each.jobs): each for each in found if each.who.startswith(OURS)}
    lines = ["| work | by | " + " | ".join(f"{size:,}" for size in sizes) + " | growth |"]
    lines.append("| --- | --- | " + " | ".join("---" for _ in sizes) + " | --- |")
    for work, who in rows:
        cells = [_cell(at.get((work, who, size)), ours.get((work, size))) for size in sizes]
        rate = growth([each for each in found if (each.work, each.who) == (work, who)])
        lines.append(f"| {work} | {who} | {' | '.join(cells)} | {'–' if rate is None else f'{rate:.2f}'} |")
    return "\n".join([*lines, *together(found, sizes)])
