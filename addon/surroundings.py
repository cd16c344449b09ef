# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What a subject's movement depended on, compared with what it depends on now.

Two halves: the curves, whose keys tell which frames an edit can influence, and all the rest,
where any change touches every frame. `describing` collects both.

What belongs to one bone of the subject is kept apart from what belongs to the other bones, and who
follows whom is kept with it: an edit touches the edited bones and their followers alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bone_links import ALL, BoneLinks, list_reached
from .curve_tables import KeyArrays
from .plain_values import Values

ON_KEY, EDGE = 5e-5, 0.01
"""A frame this near to a key shows the key alone, unless another key is this near to it."""


@dataclass(frozen=True, eq=False, slots=True)
class CurveStates:
    """What the F-curves of one owner play.

    Attributes
    ----------
    places : tuple of (path, index, which of those)
    rules : list of tuple
        Extrapolation, whether it plays in a strip, modifiers, baked samples.
    keys : KeyArrays
    """

    places: tuple[tuple[str, int, int], ...]
    rules: list[Values]
    keys: KeyArrays

    def is_same(self, other: CurveStates) -> bool:
        """Say whether nothing about any curve is different."""
        return (
            self.places == other.places
            and self.rules == other.rules
            and np.array_equal(self.keys.counts, other.keys.counts)
            and not len(self.keys.find_different(other.keys))
        )

    def is_local(self, row: int) -> bool:
        """Say whether a change of some keys changes the frames around them only."""
        _, shifted, modifiers, _ = self.rules[row]
        return not modifiers and not shifted


@dataclass(frozen=True, eq=False, slots=True)
class Surroundings:
    """All that moves a subject.

    Attributes
    ----------
    settled : dict of (owner, bone) to values
        The bone is "" for what belongs to no single bone of the subject.
    pose : ndarray of int, shape (B, W)
        Settled numbers of the subject's bones, a row for each.
    links : BoneLinks
        Who follows whom among these bones.
    curves : dict of owner to CurveStates
    cyclic : bool
        Whether anything depends on itself, so that no frame stands for itself.
    """

    settled: dict[tuple[str, str], list[Any]]
    pose: NDArray[np.int32]
    links: BoneLinks
    curves: dict[str, CurveStates]
    cyclic: bool = False

    def is_same(self, other: Surroundings) -> bool:
        """Say whether not even a key beyond the frames is different."""
        return (
            (self.settled is other.settled or self.settled == other.settled)
            and self.links.bones == other.links.bones
            and np.array_equal(self.pose, other.pose)
            and self.curves.keys() == other.curves.keys()
            and all(state.is_same(other.curves[name]) for name, state in self.curves.items())
        )


def find_changed(
    old: Surroundings, new: Surroundings, times: NDArray[np.float64]
) -> dict[str, NDArray[np.bool_]]:
    """Return at which animation times the two may differ, by bone of the subject.

    Returns
    -------
    dict of bone to ndarray of bool, shape (F,)
        What is not named is the same; "" stands for everything about the subject.
    """
    always = np.ones(len(times), dtype=np.bool_)
    if old.links.bones != new.links.bones or old.pose.shape != new.pose.shape:
        return {ALL: always}
    changed: dict[str, NDArray[np.bool_]] = {}

    def note(bone: str, when: NDArray[np.bool_]) -> None:
        changed[bone] = changed[bone] | when if bone in changed else when

    if old.settled is not new.settled:
        for place in old.settled.keys() | new.settled.keys():
            if old.settled.get(place) != new.settled.get(place):
                note(place[1], always)
    for row in np.flatnonzero((old.pose != new.pose).any(axis=1)):
        note(new.links.bones[row], always)
    for name in old.curves.keys() | new.curves.keys():
        for path, first, last in _list_different(old.curves.get(name), new.curves.get(name)):
            note(new.links.find_bone(name, path), (times > first) & (times < last))
    spread: dict[str, NDArray[np.bool_]] = {}
    for bone, when in changed.items():
        for reached in list_reached(bone, old.links, new.links):
            spread[reached] = spread[reached] | when if reached in spread else when
    return spread


def _list_different(
    old: CurveStates | None, new: CurveStates | None
) -> Iterator[tuple[str, float, float]]:
    """Yield the path of each curve that changed and the times it changed between."""
    if old is None or new is None:
        whole = new if old is None else old
        for path, _, _ in whole.places if whole is not None else ():
            yield path, -np.inf, np.inf
        return
    before = {place: row for row, place in enumerate(old.places)}
    now = {place: row for row, place in enumerate(new.places)}
    same: list[tuple[int, int]] = []
    for place in before.keys() | now.keys():
        one, other = before.get(place), now.get(place)
        if one is None or other is None or old.rules[one] != new.rules[other]:
            yield place[0], -np.inf, np.inf
        elif old.keys.counts[one] != new.keys.counts[other]:
            yield place[0], *_find_span(old, new, one, other)
        else:
            same.append((one, other))
    same.sort()
    olds, news = [one for one, _ in same], [other for _, other in same]
    for row in old.keys.pick(olds).find_different(new.keys.pick(news)):
        yield new.places[news[row]][0], *_find_span(old, new, olds[row], news[row])


def _find_span(before: CurveStates, now: CurveStates, one: int, other: int) -> tuple[float, float]:
    """Return the times between which a curve with changed keys may have changed."""
    if not now.is_local(other):
        return -np.inf, np.inf
    old, new = before.keys.pick([one]).show_keys(), now.keys.pick([other]).show_keys()
    shorter = min(len(old), len(new))
    ahead = (old[:shorter] == new[:shorter]).all(axis=1)
    same_before = shorter if ahead.all() else int(np.argmin(ahead))
    behind = (old[len(old) - shorter :] == new[len(new) - shorter :]).all(axis=1)[::-1]
    same_after = shorter if behind.all() else int(np.argmin(behind))
    same_after = min(same_after, shorter - same_before)
    # A curve that goes on straight may lean on the outer two keys.
    edge = 1 if now.rules[other][0] == "LINEAR" else 0
    olds, news = (keys[:, 0].view(np.float32).astype(np.float64) for keys in (old, new))
    first, last = -np.inf, np.inf
    if same_before > edge:
        ends = [t[same_before] for t in (olds, news) if same_before < len(t)]
        first = _leave_out(news[same_before - 1], ends, 1.0)
    if same_after > edge:
        ends = [t[-same_after - 1] for t in (olds, news) if same_after < len(t)]
        last = _leave_out(news[len(news) - same_after], ends, -1.0)
    return first, last


def _leave_out(key: float, beyond: Iterable[float], sign: float) -> float:
    """Return an edge that leaves the time of a key out: there its own value shows, as before.

    Unless another key lies in the same place, of which either may show.
    """
    apart = all(abs(time - key) > 2.0 * EDGE for time in beyond)
    return float(key + sign * ON_KEY if apart else key - sign * EDGE)
