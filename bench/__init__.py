# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""How fast Fettle is, measured against Blender's own frame stepping in the same run."""
