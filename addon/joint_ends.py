# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Where parts end: at the next part's joint, whatever their bones say."""

from __future__ import annotations

from collections.abc import Generator, Sequence

import numpy as np
from numpy.typing import NDArray

from ..core_math import PIECE_BYTES, list_pieces

FloatArray = NDArray[np.float64]

_LIMB_ENDS = {
    "shoulder": "upper_arm",
    "upper_arm": "forearm",
    "forearm": "hand",
    "thigh": "shin",
    "shin": "foot",
    "foot": "toe",
    "chest": "neck",
    "neck": "head",
}
"""Where a part ends when the next one is mapped: at that one's joint, whatever its bone says."""


ANOTHER_UNIT = 8.0
"""Bones this many times as long as their joints lie apart are measured in another unit."""


def end_at_next_joint(
    parts: Sequence[str], heads: FloatArray, tails: FloatArray
) -> Generator[None, None, None]:
    """Let each part end where the next one's joint is, wherever that is mapped, with pauses.

    Bones need not point at the next joint (imported skeletons often do not), and one part may be
    made of several bones.
    """
    number = {part: row for row, part in enumerate(parts)}
    rows, following = [], []
    for part, row in number.items():
        base, _, joint = part.partition("/")
        side = base[-2:] if base.endswith((".L", ".R")) else ""
        successor = f"{base}/{int(joint or 1) + 1}"
        if successor not in number:
            successor = _LIMB_ENDS.get(base.removesuffix(side), "") + side
        if successor in number:
            rows.append(row)
            following.append(number[successor])
    if not rows:
        return
    some = slice(None, None, max(1, len(heads) // 16))
    joints = heads[some].transpose(2, 1, 0)
    span = joints[:, following] - joints[:, rows]
    own = tails[some].transpose(2, 1, 0)[:, rows] - joints[:, rows]
    spans, lengths = (np.median(np.sqrt(x * x + y * y + z * z), axis=-1) for x, y, z in (span, own))
    # A joint in the very same place (bones side by side) tells no direction.
    apart = spans > 0.05 * np.minimum(lengths, np.median(spans))
    if apart.any():
        # Formats without bone lengths leave them to the importer, and a scaled skeleton may get
        # lengths of another unit: its last bones are brought to the size of the others.
        unit = float(np.median(lengths[apart] / spans[apart]))
        if unit > ANOTHER_UNIT or unit * ANOTHER_UNIT < 1.0:
            joints, ends = heads.transpose(2, 1, 0), tails.transpose(2, 1, 0)
            for place in list_pieces(ends):
                ends[place] = joints[place] + (ends[place] - joints[place]) / max(unit, 1e-9)
                yield
    rows, following = (np.array(numbers)[apart] for numbers in (rows, following))
    size = max(1, PIECE_BYTES // max(1, heads[:, 0].nbytes))
    for first in range(0, len(rows), size):
        some = slice(first, first + size)
        tails[:, rows[some]] = heads[:, following[some]]
        yield
