# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Write a file whole or not at all: what was there before survives every failure."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path


class OutputError(OSError):
    """A file that could not be written: what, where, what to do, in one line."""

    def __str__(self) -> str:
        """Return the line alone, without an error number."""
        return str(self.args[0])


def write_whole(path: Path | str, content: str | bytes) -> None:
    """Write a file by way of a temporary one beside it, renamed when it is complete.

    Parameters
    ----------
    path : path-like
        Missing folders above it are made.
    content : str or bytes
        Text is written as UTF-8; a character UTF-8 does not have (a broken file name) is written
        as a backslash escape.

    Raises
    ------
    OutputError
        Nothing was written, and an older file is still as it was.
    """
    target = Path(path)
    data = content if isinstance(content, bytes) else content.encode("utf-8", "backslashreplace")
    if os.path.isdir(target):
        raise OutputError(f"{target}: is a folder; name the file to write in it")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        # Following a link replaces what it points to, not the link.
        target = target.resolve()
        handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", dir=target.parent)
    except OSError as error:
        raise OutputError(_explain(target, error)) from None
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, _choose_mode(target))
        os.replace(name, target)
    except OSError as error:
        raise OutputError(_explain(target, error)) from None
    finally:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(name)


def _choose_mode(target: Path) -> int:
    """Return the permissions of the file that is replaced, or those of any new file."""
    try:
        return target.stat().st_mode & 0o777
    except OSError:
        mask = os.umask(0)
        os.umask(mask)
        return 0o666 & ~mask


def _explain(target: Path, error: OSError) -> str:
    why = error.strerror or str(error)
    return f"{target}: cannot be written ({why}); nothing was changed there, name another place"
