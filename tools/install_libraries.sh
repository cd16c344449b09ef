#!/usr/bin/env bash
# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
#
# See that Blender's module can be imported, and install the system libraries it links to
# where they are missing (Debian and its kin, as root).
#
#   tools/install_libraries.sh PYTHON
set -euo pipefail

python=$1
packages="libegl1 libgl1 libgomp1 libice6 libsm6 libx11-6 libxext6 libxfixes3 libxi6 \
libxkbcommon0 libxrender1 libxxf86vm1"

import_bpy() { "$python" -c 'import bpy, os; os._exit(0)' </dev/null 2>&1; }

if said=$(import_bpy); then
    exit 0
fi
if command -v apt-get >/dev/null && [ "$(id -u)" = 0 ]; then
    echo "installing the system libraries Blender needs: ${said##*$'\n'}"
    export DEBIAN_FRONTEND=noninteractive
    apt-get -qq update >/dev/null </dev/null || true
    apt-get -qq -o Dpkg::Use-Pty=0 install -y --no-install-recommends $packages >/dev/null </dev/null
    said=$(import_bpy) && exit 0
fi
echo "install_libraries.sh: Blender's module cannot be imported: ${said##*$'\n'}" >&2
echo "install_libraries.sh: on Debian and its kin: apt-get install $packages" >&2
exit 1
