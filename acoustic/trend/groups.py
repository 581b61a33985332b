"""Which recorders and kinds of spin there are, and which of them the trend is read from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from acoustic.trend.points import Point

# A group last used longer ago than this says nothing of the bearing now. This project's judgement: two services
# a year are usual.
RECENT_DAYS = 183.0


@dataclass(frozen=True, slots=True)
class Group:
    """Points whose values compare.

    Attributes
    ----------
    name : str
    visits, recent_visits : int
        Calendar days with a recording, and those of the half year before the newest of all.
    last_day : float
    """

    name: str
    visits: int
    recent_visits: int
    last_day: float


@dataclass(frozen=True, slots=True)
class Taken:
    """The group that was taken, and those left out.

    Attributes
    ----------
    group : Group
    points : tuple of Point
        All points of this group, old ones too.
    left_out : tuple of Group
    """

    group: Group
    points: tuple[Point, ...]
    left_out: tuple[Group, ...]

    @property
    def sentence(self) -> str:
        """What the trend rests on and what was left out, in plain words."""
        kept = f"read from {_named(self.group)}"
        if not self.left_out:
            return kept
        return f"{kept}; left out, since they don't compare: {', '.join(_named(g) for g in self.left_out)}"


def groups_of(points: Sequence[Point]) -> tuple[Group, ...]:
    """List the groups, the one to be taken first.

    Parameters
    ----------
    points : sequence of Point
        In any order.

    Returns
    -------
    tuple of Group
        Most recent visits first; where as many, most visits, then the newest.
    """
    newest = max((point.day for point in points), default=0.0)
    groups = []
    for name in sorted({point.group for point in points}):
        days = [point.day for point in points if point.group == name]
        recent = {math.floor(day) for day in days if day >= newest - RECENT_DAYS}
        groups.append(Group(name, len({math.floor(day) for day in days}), len(recent), max(days)))
    return tuple(sorted(groups, key=lambda group: (-group.recent_visits, -group.visits, -group.last_day)))


def take_group(points: Sequence[Point]) -> Taken | None:
    """Take the largest recent group.

    Parameters
    ----------
    points : sequence of Point
        In any order.

    Returns
    -------
    Taken or None
        None where there are no points.
    """
    groups = groups_of(points)
    if not groups:
        return None
    first, *others = groups
    return Taken(first, tuple(point for point in points if point.group == first.name), tuple(others))


def _named(group: Group) -> str:
    name = group.name or "recordings of no named group"
    return f"{name} ({group.visits} visit{'' if group.visits == 1 else 's'})"
