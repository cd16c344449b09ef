# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Where review sheets go: one shot is the named file itself, several stand beside an overview.

Each sheet is written as soon as its shot is read, so that its pictures need not be kept and an
interrupted run has what was done.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path, PurePath
from urllib.parse import quote

from ..core_math import (
    Comparison,
    Fate,
    InputFault,
    OutputError,
    Review,
    ShotReading,
    compare_readings,
    pair_shots,
    write_whole,
)
from .overview import OverviewRow, make_overview
from .sheet import make_sheet
from .sheet_pictures import FlagPictures


class SheetFiles:
    """Writes the sheets of one call, and their overview."""

    def __init__(self, target: Path, jobs: int, against: Sequence[ShotReading] = ()) -> None:
        """Prepare.

        Parameters
        ----------
        target : Path
            The page a person opens.
        jobs : int
            How many files are read.
        against : sequence of ShotReading
            The last take of the shots, to compare with.
        """
        self.target = target
        self.faults: list[str] = []
        self._alone = jobs == 1
        self._against = list(against)
        self._rows: list[OverviewRow] = []
        self._folder = target.with_name(f"{target.stem}_sheets")

    def add(
        self,
        entries: Sequence[tuple[ShotReading, Review, Mapping[int, FlagPictures]]],
    ) -> None:
        """Write the sheets of one file that was read (it may hold several scenes)."""
        if self._alone and len(entries) == 1:
            shot, review, pictures = entries[0]
            page = make_sheet(shot, pictures, review, self._compare(shot))
            self._write(self.target, page)
            return
        self._alone = False
        for shot, review, pictures in entries:
            comparison = self._compare(shot)
            name = f"{len(self._rows) + 1:04d}-{make_file_name(shot)}.html"
            back = f"../{quote(self.target.name)}"
            page = make_sheet(shot, pictures, review, comparison, back)
            written = self._write(self._folder / name, page)
            address = f"{quote(self._folder.name)}/{quote(name)}" if written else None
            changes = _say_changes(comparison) if comparison else None
            self._rows.append(OverviewRow(shot, address, changes))

    def finish(self, errors: Sequence[InputFault], finished: bool = True) -> None:
        """Write the overview where there is more than one sheet, or none."""
        if self._alone and not errors and finished:
            return
        if not self._alone or not self.target.is_file():
            self._write(self.target, make_overview(self._rows, errors, finished))

    def _compare(self, shot: ShotReading) -> Comparison | None:
        # Two lone shots are taken for one another whatever their names; among several only names
        # tell.
        if self._alone and len(self._against) == 1:
            return compare_readings(self._against[0], shot)
        pairs, _, _ = pair_shots(self._against, [shot, shot])
        return compare_readings(pairs[0][0], shot) if pairs else None

    def _write(self, path: Path, page: str) -> bool:
        try:
            write_whole(path, page)
        except OutputError as error:
            if str(error) not in self.faults:
                self.faults.append(str(error))
            return False
        return True


def make_file_name(shot: ShotReading) -> str:
    """Return a shot's name as part of a file name: letters and digits of any script stay."""
    stem = PurePath(shot.source.replace("\\", "/")).stem
    text = stem if shot.scene in ("Scene", "") else f"{stem}-{shot.scene}"
    return re.sub(r"[^\w.-]+", "_", text).strip("._")[:80] or "shot"


def _say_changes(comparison: Comparison) -> str:
    counted = comparison.count()
    return ", ".join(f"{counted[fate]} {fate.value}" for fate in Fate if counted[fate])
