"""Damage classes of the sheet for clients: frozen, and merged where they hold too few jobs to be shown."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

# Frozen: adding, splitting or renaming a class is a new version of the definitions, never a quiet change.
CLASSES = ("drop", "liquid", "bend_or_snap", "power_fault", "heat", "none_seen")

Groups = tuple[tuple[str, ...], ...]


def merged(sizes: Mapping[str, int], order: Sequence[str], minimum: int) -> Groups:
    """Put groups with too few jobs together until every group shown has enough.

    The group that is put together holds at least two classes: one small class left alone could be worked out as the
    total less the others.

    Parameters
    ----------
    sizes : mapping of str to int
        Jobs of each class; the smallest of the numbers shown for it.
    order : sequence of str
        Classes in the order shown.
    minimum : int
        Fewest jobs of a group.

    Returns
    -------
    tuple of tuple of str
        Groups in order, the one put together last; classes without any job are left out. A single group of all when
        nothing else can be shown.
    """
    present = [name for name in order if sizes.get(name, 0) > 0]
    small = [name for name in present if sizes[name] < minimum]
    large = sorted((name for name in present if name not in small), key=lambda name: sizes[name])
    while small and large and (len(small) < 2 or sum(sizes[name] for name in small) < minimum):
        small.append(large.pop(0))
    alone: Groups = tuple((name,) for name in present if name not in small)
    together = tuple(name for name in present if name in small)
    return (*alone, together) if together else alone


def merged_until(groups: Groups, sizes: Mapping[str, int], bad: Callable[[Groups], bool]) -> Groups | None:
    """Go on merging while the groups give something away beside sheets published before; None if nothing helps."""
    order = [name for group in groups for name in group]
    while bad(groups):
        if len(groups) <= 1:
            return None
        together = next((group for group in groups if len(group) > 1), ())
        rest = [group for group in groups if group != together]
        least = min(rest, key=lambda group: sum(sizes[name] for name in group))
        joined = {*together, *least}
        if not together and len(rest) > 1:  # two classes at least, for the same reason as above
            other = min((g for g in rest if g != least), key=lambda group: sum(sizes[name] for name in group))
            joined |= set(other)
        kept = tuple(group for group in groups if not joined & set(group))
        groups = (*kept, tuple(name for name in order if name in joined))
    return groups
