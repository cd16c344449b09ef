#!/usr/bin/env bash
# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
#
# Run a command inside a system kept in a folder.
#
#   tools/in_folder_system.sh ROOT [--bind HOST_FOLDER INSIDE_FOLDER]... -- COMMAND [ARG]...
#
# Every mount is made in a mount namespace of this one command and is gone when it ends,
# however it ends: deleting ROOT later can never reach the host's /dev or a bound folder.
# The process namespace likewise takes everything the command started with it.
# The command's exit status is handed on.
set -euo pipefail

if [ "${1:-}" = "--inside-namespace" ]; then
    shift
    root=$1
    shift
    mount --make-rprivate /
    # A mount point of its own, as a root folder is elsewhere: programs inside count on it.
    mount --bind "$root" "$root"
    mkdir -p "$root/dev" "$root/proc" "$root/tmp"
    mount --bind /dev "$root/dev"
    mount -t tmpfs -o mode=1777 shm "$root/dev/shm"
    mount -t proc proc "$root/proc"
    mount -t tmpfs -o mode=1777 tmp "$root/tmp"
    cp --remove-destination -L /etc/resolv.conf "$root/etc/resolv.conf" 2>/dev/null || true
    ln -sfn /proc/self/mounts "$root/etc/mtab"
    while [ "$1" = "--bind" ]; do
        mkdir -p "$root$3"
        mount --bind "$2" "$root$3"
        shift 3
    done
    [ "$1" = "--" ] || { echo "in_folder_system.sh: expected -- before the command" >&2; exit 2; }
    shift
    exec chroot "$root" /usr/bin/env -i \
        HOME=/root LANG=C.UTF-8 LC_ALL=C.UTF-8 TERM=dumb DEBIAN_FRONTEND=noninteractive \
        PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin \
        ${http_proxy:+"http_proxy=$http_proxy"} ${https_proxy:+"https_proxy=$https_proxy"} \
        "$@"
fi

if [ $# -lt 3 ]; then
    sed -n 's/^# \{0,1\}//p' "$0" | sed -n 3,7p >&2
    exit 2
fi
if [ ! -d "$1/usr" ]; then
    echo "in_folder_system.sh: no system in $1; tools/provision_blender.sh makes one" >&2
    exit 2
fi
as_root=()
[ "$(id -u)" = 0 ] || as_root=(sudo -n)
exec "${as_root[@]}" unshare --mount --pid --fork --kill-child \
    bash "$0" --inside-namespace "$@"
