#!/usr/bin/env bash
# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Print the Python 3.11 that Blender's modules (4.2 to 5.0) were made for.
#
#   PYTHON=/path/to/python3.11 tools/find_python.sh     to choose one
#
# It must be able to make virtual environments; where Debian or Ubuntu keep that part in a
# package of its own and we are root, the package is installed.
set -euo pipefail

can_make_venvs() { "$1" -c 'import ensurepip, venv' 2>/dev/null; }

seen=
for candidate in ${PYTHON:-} python3.11 python3 python; do
    command -v "$candidate" >/dev/null || continue
    [ "$("$candidate" -c 'import sys; print(*sys.version_info[:2], sep=".")' 2>/dev/null)" = 3.11 ] || continue
    path=$("$candidate" -c 'import sys; print(sys.executable)')
    if can_make_venvs "$path"; then
        echo "$path"
        exit 0
    fi
    seen=$path
done

if [ -n "$seen" ] && [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    echo "find_python.sh: installing python3.11-venv" >&2
    export DEBIAN_FRONTEND=noninteractive
    apt-get -qq update >&2 </dev/null || true
    apt-get -qq -o Dpkg::Use-Pty=0 install -y --no-install-recommends python3.11-venv >/dev/null </dev/null || true
    if can_make_venvs "$seen"; then
        echo "$seen"
        exit 0
    fi
fi
if [ -n "$seen" ]; then
    echo "find_python.sh: $seen cannot make virtual environments: install python3.11-venv" >&2
else
    echo "find_python.sh: no Python 3.11 found: install it, or name it with PYTHON=/path/to/python3.11" >&2
fi
exit 1
