#!/usr/bin/env bash
# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Fetch the motion captures the tests read: Debian's package assimp-testmodels, unpacked
# into the cache. Needs no root when apt's lists are there. The path of the folder with
# the BVH files is the only line on stdout.
#
# Exit status: 0 they are there; 3 they cannot be had here, with the reason on stderr (the
# tests that want them then skip by name).
set -euo pipefail

home=~ # also where HOME is not set
cache=${FETTLE_CACHE:-${XDG_CACHE_HOME:-$home/.cache}/fettle}
folder=$cache/captures/assimp-testmodels
bvh=$folder/usr/share/assimp/models/BVH
stamp=$folder.ready

cannot() {
    echo "fetch_captures.sh: the motion captures cannot be had here: $*" >&2
    exit 3
}

mkdir -p "$cache/captures"
exec 9>"$folder.lock"
flock 9
if [ -f "$stamp" ] && [ -f "$bvh/01_01.bvh" ]; then
    echo "$bvh"
    exit 0
fi
command -v apt-get >/dev/null && command -v dpkg >/dev/null ||
    cannot "they come as the Debian package assimp-testmodels; FETTLE_CAPTURES=FOLDER names a copy"

rm -rf "$stamp" "$folder"
download=$(mktemp -d "$cache/captures/download.XXXXXX")
trap 'rm -rf "$download"' EXIT
chmod 755 "$download" # apt fetches as a user of its own
cd "$download"
fetch() { apt-get -qq -o Acquire::Retries=3 -o APT::Sandbox::User=root download assimp-testmodels >&2 </dev/null; }
if ! fetch 2>/dev/null; then
    [ "$(id -u)" = 0 ] && { apt-get -qq update >&2 </dev/null || true; }
    fetch || cannot "apt-get download assimp-testmodels failed"
fi
dpkg -x assimp-testmodels_*.deb "$folder"
[ -f "$bvh/01_01.bvh" ] || cannot "the package no longer holds usr/share/assimp/models/BVH/01_01.bvh"
touch "$stamp"
echo "$bvh"
