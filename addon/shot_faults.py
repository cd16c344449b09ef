# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What is raised when a file is no shot that can be read."""


class ShotFileError(ValueError):
    """A file that cannot be read as a shot: what and what to do; who catches it names the file."""
