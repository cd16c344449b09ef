#!/usr/bin/env bash
# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Have a Blender with a window at hand, in a folder of its own.
#
#   tools/provision_blender.sh trixie|sid
#
# trixie brings Blender 4.3, sid brings Blender 5.2. The folder lies in the cache, outside
# the checkout, and is reused as long as it is whole: a stamp is written last, and Blender
# must answer. A broken one is made anew. The folder's path is the only line on stdout.
#
# Exit status: 0 the folder is ready; 2 wrong call; 3 this Blender cannot be had here, with
# the reason on stderr.
#
#   FETTLE_CACHE           where to keep it (default: ~/.cache/fettle)
#   FETTLE_DEBIAN_MIRROR   where to fetch it (default: http://deb.debian.org/debian)
set -euo pipefail

tools=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
home=~ # also where HOME is not set
cache=${FETTLE_CACHE:-${XDG_CACHE_HOME:-$home/.cache}/fettle}
mirror=${FETTLE_DEBIAN_MIRROR:-http://deb.debian.org/debian}
suite=${1:-}

packages="blender xvfb xauth imagemagick libgl1-mesa-dri libegl1 python3 python3-numpy"
case $suite in
trixie) wanted=4.3 ;;
sid)
    wanted=5.2
    # Blender 5's extension platform does not register without these.
    packages="$packages python3-cattr python3-requests python3-zstandard python3-typing-extensions"
    ;;
*)
    echo "usage: tools/provision_blender.sh trixie|sid" >&2
    exit 2
    ;;
esac

root=$cache/blender/$suite
stamp=$root.ready
recipe="recipe 1: $packages"

say() { echo "provision_blender.sh: $*" >&2; }
cannot() {
    say "Blender $wanted ($suite) cannot be had here: $*"
    say "BLENDER=/path/to/blender make window-test takes one that is there already, without root"
    exit 3
}
as_root=()
[ "$(id -u)" = 0 ] || as_root=(sudo -n)

inside() { "$tools/in_folder_system.sh" "$root" -- "$@"; }
version_inside() { inside blender --version </dev/null 2>/dev/null | sed -n '1s/^Blender //p'; }
is_whole() {
    [ -f "$stamp" ] && [ "$(cat "$stamp")" = "$recipe" ] && [[ "$(version_inside)" == "$wanted".* ]]
}
remove() {
    rm -f "$stamp"
    # Nothing is ever mounted there outside the namespace of a running command; should
    # somebody have mounted something by hand, it is theirs.
    if grep -qF " $root/" /proc/self/mounts; then
        cannot "something is mounted under $root: unmount it first"
    fi
    "${as_root[@]}" rm -rf --one-file-system "$root"
}

mkdir -p "$cache/blender"
exec 9>"$root.lock"
flock 9

if is_whole; then
    say "Blender $(version_inside) is there already"
    echo "$root"
    exit 0
fi

[ "$(id -u)" = 0 ] || sudo -n true 2>/dev/null || cannot "root is needed, or sudo without a password"
unshare_refused=$("${as_root[@]}" unshare --mount --pid --fork true 2>&1) ||
    cannot "mount namespaces are not allowed ($unshare_refused)"
if ! command -v debootstrap >/dev/null || [ ! -e /usr/share/keyrings/debian-archive-keyring.gpg ]; then
    command -v apt-get >/dev/null || cannot "debootstrap is missing and there is no apt-get"
    say "installing debootstrap"
    "${as_root[@]}" apt-get -qq update >&2 </dev/null ||
        say "apt-get update complained; going on with the lists that are there"
    "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get -qq -o Dpkg::Use-Pty=0 install -y \
        --no-install-recommends debootstrap debian-archive-keyring >/dev/null </dev/null ||
        cannot "debootstrap could not be installed"
fi

say "making Debian $suite with Blender $wanted in $root (a minute or two)"
remove
log=$root.log
attempt=1
# debootstrap mounts things of its own: its namespace takes them away again.
# Mirrors hiccup; a second go costs less than a red run.
until "${as_root[@]}" unshare --mount debootstrap --variant=minbase "$suite" "$root" "$mirror" >"$log" 2>&1 </dev/null &&
    inside apt-get -qq -o Acquire::Check-Valid-Until=false -o Acquire::Retries=3 update \
        >>"$log" 2>&1 </dev/null &&
    inside apt-get -qq -o Acquire::Retries=3 -o Dpkg::Use-Pty=0 install -y \
        --no-install-recommends $packages >>"$log" 2>&1 </dev/null; do
    tail -n 15 "$log" >&2
    remove
    [ $attempt -lt 2 ] || cannot "see the lines above, all of them in $log"
    attempt=$((attempt + 1))
    say "trying once more"
done
inside apt-get clean </dev/null >&2

version=$(version_inside) || version=
[[ "$version" == "$wanted".* ]] || cannot "Debian $suite brought Blender '${version:-none}'"
echo "$recipe" >"$stamp"
say "Blender $version is ready"
echo "$root"
