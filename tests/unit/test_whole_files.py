# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A file is written whole or not at all."""

import os
import resource
import signal
import stat

import pytest

from fettle.core_math.whole_files import OutputError, write_whole


def test_new_file_in_a_new_folder(tmp_path):
    path = tmp_path / "été 夏" / "findings.json"
    write_whole(path, "ö\n")
    assert path.read_bytes() == "ö\n".encode()
    assert os.listdir(path.parent) == ["findings.json"]


def test_permissions_of_a_replaced_file_stay_and_a_new_file_follows_the_mask(tmp_path):
    old, new = tmp_path / "old", tmp_path / "new"
    old.write_text("before")
    old.chmod(0o640)
    write_whole(old, b"after")
    write_whole(new, b"after")
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE(old.stat().st_mode) == 0o640
    assert stat.S_IMODE(new.stat().st_mode) == 0o666 & ~mask


def test_a_link_stays_a_link(tmp_path):
    target, link = tmp_path / "target", tmp_path / "link"
    target.write_text("before")
    link.symlink_to(target)
    write_whole(link, "after")
    assert link.is_symlink() and target.read_text() == "after"


def test_full_disk_leaves_the_old_file_as_it_was(tmp_path):
    # The kernel's own limit on file size stands for a disk that is full half-way.
    path = tmp_path / "findings.json"
    path.write_text("before")
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, limits[1]))
    try:
        with pytest.raises(OutputError) as caught:
            write_whole(path, "x" * 100_000)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, handler)
    assert str(caught.value).startswith(f"{path}: cannot be written (")
    assert path.read_text() == "before"
    assert os.listdir(tmp_path) == ["findings.json"]


def test_folder_in_place_of_a_file_is_refused(tmp_path):
    with pytest.raises(OutputError, match="is a folder; name the file"):
        write_whole(tmp_path, "x")


def test_file_in_place_of_a_folder_is_refused(tmp_path):
    blocker = tmp_path / "taken"
    blocker.write_text("")
    with pytest.raises(OutputError, match="cannot be written"):
        write_whole(blocker / "findings.json", "x")
