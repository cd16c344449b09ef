# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The judging half of Fettle: NumPy and the standard library only, never Blender."""
