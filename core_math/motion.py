# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What the checks are given: one subject's sampled motion, frozen, in metres and quaternions."""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any, ClassVar, TypeVar

import numpy as np
from numpy.typing import NDArray

from .camera import ShotCamera as ShotCamera  # checks are given it with the motion
from .findings import CannotEvaluateError
from .measures import body, contacts, ground, rotations, stage, strands
from .measures.pieces import Steps, run_steps
from .settling import (
    measure_change,
)
from .staging import Staging as Staging

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
T = TypeVar("T")


DRAWING_ROWS = "drawing rows"
"""Name under which a motion keeps the frames that show something new."""


class Stage(StrEnum):
    """How far the animation is, which decides what may be judged."""

    BLOCKING = "blocking"
    SPLINE = "spline"
    HELD = "held"


class SubjectKind(StrEnum):
    """What is judged: a character, or a single animated object."""

    ARMATURE = "armature"
    OBJECT = "object"


@dataclass(frozen=True, eq=False, slots=True)
class KeyTrack:
    """The keys that move one part (those of its controls included).

    Attributes
    ----------
    frames : ndarray, shape (K,)
        Frames of the scene, rising; keys may lie between frames.
    stepped : ndarray of bool, shape (K,)
        True where the value is held until the next key.
    controls : tuple of str
        Names of the keyed bones.
    """

    frames: FloatArray
    stepped: BoolArray
    controls: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class RotationChannels:
    """A part's own rotation channels as they are animated, before they become a rotation.

    Attributes
    ----------
    mode : str
        "XYZ" and the five other Euler orders, "QUATERNION" or "AXIS_ANGLE".
    values : ndarray, shape (F, 3) or (F, 4)
        Euler angles in degrees; quaternion w, x, y, z; axis-angle in degrees, x, y, z.
    """

    mode: str
    values: FloatArray


@dataclass(frozen=True, eq=False)
class Motion:
    """One subject over consecutive frames. Made by `build_motion`, never changed.

    Attributes
    ----------
    subject : str
    kind : SubjectKind
    frames : ndarray, shape (F,)
        Frame numbers of the scene, consecutive.
    fps : float
    parts : tuple of str
        P canonical part names; further joints of a part are `part/2`, `part/3`.
    parents : tuple of int
        Index of each part's parent part, -1 for none.
    heads, tails : ndarray, shape (F, P, 3), metres
        World positions of each part's joint and of its end.
    rotations : ndarray, shape (F, P, 4)
        World rotations, unit quaternions w, x, y, z with continuous sign.
    local_rotations : ndarray, shape (F, P, 4)
        Rotations relative to the parent part (world rotation where there is none).
    local_heads : ndarray, shape (F, P, 3), metres
        Joint positions in the parent part's own axes and origin.
    keys : mapping of part to KeyTrack
    channels : mapping of part to RotationChannels
    height : float, metres
        Body size H, the yardstick of every distance.
    ground_height : float, metres
    stage : Stage
    cadence : int
        Frames per drawing: 1 on ones, 2 on twos.
    camera : ShotCamera or None
    cuts : tuple of int
        Frames of the scene at which a new shot begins inside the range.
    dropped : mapping of part to str
        Parts left out, with the reason.
    staging : Staging or None
        What lies around the subject in the picture, when it was looked at.
    """

    subject: str
    kind: SubjectKind
    frames: IntArray
    fps: float
    parts: tuple[str, ...]
    parents: tuple[int, ...]
    heads: FloatArray
    tails: FloatArray
    rotations: FloatArray
    local_rotations: FloatArray
    local_heads: FloatArray
    height: float
    ground_height: float
    stage: Stage
    cadence: int
    keys: Mapping[str, KeyTrack] = field(default_factory=dict)
    channels: Mapping[str, RotationChannels] = field(default_factory=dict)
    camera: ShotCamera | None = None
    cuts: tuple[int, ...] = ()
    dropped: Mapping[str, str] = field(default_factory=dict)
    staging: Staging | None = None
    _memo: dict[Any, Any] = field(default_factory=dict, repr=False, compare=False)

    piece: ClassVar[int] = 3 << 13
    """Parts times frames that a check looks at between two pauses."""

    @property
    def frame_count(self) -> int:
        """F, the number of frames."""
        return len(self.frames)

    def has(self, *parts: str) -> bool:
        """Say whether all these parts were mapped and sampled."""
        return all(part in self.parts for part in parts)

    def index(self, part: str) -> int:
        """Return the row of a part; raises CannotEvaluateError when it is not there."""
        try:
            return self.parts.index(part)
        except ValueError:
            reason = self.dropped.get(part, "not mapped")
            raise CannotEvaluateError(f"{part}: {reason}") from None

    def require(self, *parts: str) -> tuple[int, ...]:
        """Return the rows of these parts; raises CannotEvaluateError naming the missing ones."""
        missing = [part for part in parts if part not in self.parts]
        if missing:
            reasons = ", ".join(f"{p} ({self.dropped.get(p, 'not mapped')})" for p in missing)
            raise CannotEvaluateError(f"needs {reasons}")
        return tuple(self.parts.index(part) for part in parts)

    def say_missing(self, part: str) -> str | None:
        """Return why a part cannot be judged ("needs foot.L (not mapped)"); None when it is there.

        For checks that go on with the other side.
        """
        if self.has(part):
            return None
        return f"needs {part} ({self.dropped.get(part, 'not mapped')})"

    def parent_of(self, part: str) -> str | None:
        """Return the name of a part's parent part."""
        parent = self.parents[self.index(part)]
        return self.parts[parent] if parent >= 0 else None

    def chain(self, part: str) -> tuple[str, ...]:
        """Return all joints of a part in order: `part`, `part/2`, `part/3` ..."""
        further = sorted(
            (name for name in self.parts if name.startswith(f"{part}/")),
            key=lambda name: int(name.rsplit("/", 1)[1]),
        )
        return ((part, *further) if part in self.parts else ()) or tuple(further)

    def head(self, part: str) -> FloatArray:
        """Return the positions of a part's joint, shape (F, 3), metres."""
        return self.heads[:, self.index(part)]

    def tail(self, part: str) -> FloatArray:
        """Return the positions of a part's end, shape (F, 3), metres."""
        return self.tails[:, self.index(part)]

    def rotation(self, part: str) -> FloatArray:
        """Return the world rotations of a part, shape (F, 4)."""
        return self.rotations[:, self.index(part)]

    def relative_rotation(self, part: str, to: str) -> FloatArray:
        """Return a part's rotations seen from another part, shape (F, 4), continuous."""
        seen = rotations.relative(self.rotation(to), self.rotation(part))
        return rotations.make_continuous(seen)

    def turns(self, parts: tuple[str, ...]) -> FloatArray:
        """Return each part's turn away from its own average, in its own axes.

        Returns
        -------
        ndarray, shape (F, J, 3), degrees
        """
        rows = list(self.require(*parts))
        return self.memo(
            ("turns", parts), lambda: strands.turn_vectors(self.local_rotations[:, rows])
        )

    def body_axes(self, skipped: Collection[str] = ()) -> FloatArray:
        """Return the body's own axes per frame, see `body.body_axes`, shape (F, 3, 3).

        Parameters
        ----------
        skipped : collection of str
            Parts that must not give them.

        Raises
        ------
        CannotEvaluateError
            When the joints for it are missing.
        """
        used = body.choose_axis_parts([part for part in self.parts if part not in skipped])
        axes = body.body_axes({part: self.head(part) for part in used})
        if axes is None:
            raise CannotEvaluateError("needs hips and neck or head for the body's own axes")
        return axes

    def frame(self, index: int) -> int:
        """Return the scene's frame number of a row."""
        return int(self.frames[index])

    def memo(self, key: Any, compute: Callable[[], T], given: Hashable = None) -> T:
        """Return what several checks share (contacts, moves), computed once per Motion.

        A check keeps the pieces of its own measure here as well, one for each limb, say: after an
        edit those pieces hold that never looked at what was edited.

        Parameters
        ----------
        key : hashable
            The name of what is computed; only the last value under a name is kept.
        compute : callable
            Works it out from this motion and from `given`, and from nothing else.
        given : hashable
            What else it rests on, such as limits (see `Values.key`).
        """
        if key not in self._memo or self._memo[key][0] != given:
            self._memo[key] = (given, compute())
        result: T = self._memo[key][1]
        return result

    def memo_steps(
        self, key: Any, compute: Callable[[], Steps[T]], given: Hashable = None
    ) -> Steps[T]:
        """Do what `memo` does for work that pauses between its pieces."""
        if key not in self._memo or self._memo[key][0] != given:
            value = yield from compute()
            self._memo[key] = (given, value)
        result: T = self._memo[key][1]
        return result

    def memo_by_part(
        self,
        key: Any,
        field: str,
        parts: Sequence[int],
        compute: Callable[[FloatArray, list[int]], dict[int, T]],
        given: Hashable = None,
    ) -> dict[int, T]:
        """Return what is worked out for each part from its own column of one field.

        Many parts are worked out at once, which is quick, and yet kept one by one.

        Parameters
        ----------
        key, given : hashable
            As for `memo`.
        field : str
            "heads", "tails", "rotations", "local_rotations" or "local_heads".
        parts : sequence of int
            Rows of the parts that are wanted.
        compute : callable
            Handed columns of the field, shape (F, N, C), and the rows of their parts; gives the
            value of each part that has one, by row. What it says of a part must not depend on the
            other columns.

        Returns
        -------
        dict of row to value
        """
        rows, column = list(parts), getattr(self, field)
        return compute(column[:, take_together(rows)], rows)

    def iterate_by_part(
        self,
        key: Any,
        field: str,
        parts: Sequence[int],
        compute: Callable[[FloatArray, list[int]], dict[int, T]],
        given: Hashable = None,
    ) -> Steps[dict[int, T]]:
        """Do what `memo_by_part` does, pausing after every few parts."""
        found: dict[int, T] = {}
        size = max(1, self.piece // self.frame_count)
        for start in range(0, len(parts), size):
            some = parts[start : start + size]
            found |= self.memo_by_part(key, field, some, compute, given)
            yield
        return found

    def list_drawings(self) -> IntArray:
        """Return the frames (indices) on which the subject shows something new, 0 included."""
        return self.memo(
            DRAWING_ROWS,
            lambda: stage.list_drawings(
                measure_change(self.local_heads, self.local_rotations, self.height)
            ),
        )

    def foot(self, side: str) -> contacts.Foot:
        """Return the points of one foot (".L" or ".R"); CannotEvaluateError when not mapped."""
        self.require(f"foot{side}")
        ankle, end = self.head(f"foot{side}"), self.tail(f"foot{side}")
        has_toe = self.has(f"toe{side}")
        return contacts.Foot(
            ankle=ankle,
            ball=self.head(f"toe{side}") if has_toe else end,
            tip=self.tail(f"toe{side}") if has_toe else end,
            rotation=self.rotation(f"foot{side}"),
        )

    def treadmill(self) -> FloatArray:
        """Return the velocity of the ground under the mapped feet, see `contacts.find_treadmill`.

        Returns
        -------
        ndarray, shape (2,), m/s
        """
        sides = [side for side in (".L", ".R") if self.has(f"foot{side}")]

        def find() -> FloatArray:
            feet = [self.foot(side) for side in sides]
            return contacts.find_treadmill(feet, self.fps, self.height)

        return self.memo("treadmill", find)

    def stances(self) -> dict[str, list[contacts.Stance]]:
        """Return the stances of each mapped foot by side; CannotEvaluateError without feet."""
        return run_steps(self.iterate_stances())

    def iterate_stances(self) -> Steps[dict[str, list[contacts.Stance]]]:
        """Find the stances with pauses; `stances` has them from then on."""
        return self.memo_steps("stances", self._find_stances)

    def _find_stances(self) -> Steps[dict[str, list[contacts.Stance]]]:
        sides = [side for side in (".L", ".R") if self.has(f"foot{side}")]
        if not sides:
            self.require("foot.L", "foot.R")
        feet = [self.foot(side) for side in sides]
        ground = self.treadmill()
        found = yield from contacts.iterate_stances(feet, self.fps, self.height, ground)
        return dict(zip(sides, found, strict=True))

    def is_foot_near_ground(self, row: int, frame: int) -> bool:
        """Say whether a part (by its row) is a foot or toe near the ground around a frame."""
        head, tail = self.heads[:, row], self.tails[:, row]
        part = self.parts[row]
        return ground.is_foot_near_ground(part, head, tail, frame, self.fps, self.height)

    def slice(self, start: int, stop: int) -> Motion:
        """Return the motion over the frame indices start .. stop - 1, with nothing shared."""
        first, last = self.frames[start], self.frames[stop - 1]
        return replace(
            self,
            frames=self.frames[start:stop],
            heads=self.heads[start:stop],
            tails=self.tails[start:stop],
            rotations=self.rotations[start:stop],
            local_rotations=self.local_rotations[start:stop],
            local_heads=self.local_heads[start:stop],
            keys={part: _cut_keys(track, first, last) for part, track in self.keys.items()},
            channels={
                part: replace(channels, values=channels.values[start:stop])
                for part, channels in self.channels.items()
            },
            camera=self.camera.slice(start, stop) if self.camera else None,
            cuts=(),
            staging=self.staging.slice(start, stop) if self.staging is not None else None,
            _memo={},
        )

    def require_drawings(self, least: int) -> NDArray[np.int64]:
        """Return `list_drawings`; raises CannotEvaluateError when there are too few to judge."""
        drawn = self.list_drawings()
        if len(drawn) < least:
            raise CannotEvaluateError(f"{len(drawn)} drawings are too few, it needs {least}")
        return drawn

    @property
    def frame_step(self) -> int:
        """Frames of the scene from one sample to the next: 1, or more in `drawings`."""
        return int(self.frames[1] - self.frames[0]) if self.frame_count > 1 else 1

    def list_rows(self, frames: FloatArray) -> NDArray[np.int64]:
        """Return the samples at which keys first show, each once; keys outside are left out.

        Parameters
        ----------
        frames : ndarray, shape (K,)
            Frames of the scene, whole or not.

        Returns
        -------
        ndarray of int, rising
        """
        whole = np.ceil(frames)
        inside = (whole >= self.frames[0]) & (whole < self.frames[-1] + self.frame_step)
        rows = np.unique(np.searchsorted(self.frames, whole[inside]))
        return rows[rows < self.frame_count].astype(np.int64)

    def drawings(self) -> Motion:
        """Return one sample per drawing where drawings are held for frames, else itself.

        The samples lie `cadence` frames apart and begin where most drawings begin; `fps` is then
        drawings per second, so that held frames are no stops to whatever measures movement.
        """
        if self.cadence == 1 or self.frame_count <= 2 * self.cadence:
            return self
        return self.memo("drawings", self._make_drawings)

    def _make_drawings(self) -> Motion:
        steps = measure_change(self.local_heads, self.local_rotations, self.height)
        begins = np.flatnonzero(~stage.find_held_steps(steps)) + 1
        phases = np.bincount(begins % self.cadence, minlength=self.cadence)
        kept = slice(int(np.argmax(phases)), None, self.cadence)
        return replace(
            self,
            frames=self.frames[kept],
            fps=self.fps / self.cadence,
            cadence=1,
            heads=self.heads[kept],
            tails=self.tails[kept],
            rotations=self.rotations[kept],
            local_rotations=self.local_rotations[kept],
            local_heads=self.local_heads[kept],
            channels={
                part: replace(channels, values=channels.values[kept])
                for part, channels in self.channels.items()
            },
            # Looked through here, so that what rests on the drawings rests on the keys as well.
            keys=dict(self.keys),
            camera=self.camera.slice(kept.start, None, kept.step) if self.camera else None,
            staging=None,
            _memo={},
        )

    def shots(self) -> list[Motion]:
        """Return the motion split at its cuts, each piece to be read by itself."""
        edges = [int(np.searchsorted(self.frames, cut)) for cut in self.cuts]
        edges = sorted({0, *(e for e in edges if 0 < e < self.frame_count), self.frame_count})
        if len(edges) == 2:
            return [self]
        return [self.slice(a, b) for a, b in zip(edges, edges[1:], strict=False)]


def take_together(rows: list[int]) -> slice | list[int]:
    """Return rows that follow one another as a slice: nothing is copied then."""
    if rows and rows == list(range(rows[0], rows[0] + len(rows))):
        return slice(rows[0], rows[0] + len(rows))
    return rows


def _cut_keys(track: KeyTrack, first: int, last: int) -> KeyTrack:
    inside = (track.frames >= first) & (track.frames <= last)
    return replace(track, frames=track.frames[inside], stepped=track.stepped[inside])
