#!/usr/bin/env bash
# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
#
# See that there is a Chromium to open the review sheet in; install Debian's where it is
# missing (as root). Elsewhere FETTLE_CHROMIUM and FETTLE_CHROMEDRIVER name others.
#
# Exit status 3: there is none, and it cannot be installed here.
set -euo pipefail

have() { command -v chromedriver >/dev/null && command -v chromium >/dev/null; }

if [ -n "${FETTLE_CHROMIUM:-}" ] && [ -n "${FETTLE_CHROMEDRIVER:-}" ] || have; then
    exit 0
fi
if command -v apt-get >/dev/null && [ "$(id -u)" = 0 ]; then
    echo "installing Chromium for the tests of the review sheet"
    export DEBIAN_FRONTEND=noninteractive
    apt-get -qq update >/dev/null </dev/null || true
    apt-get -qq -o Dpkg::Use-Pty=0 install -y --no-install-recommends chromium chromium-driver \
        >/dev/null </dev/null || true
    have && exit 0
fi
echo "install_browser.sh: no Chromium here; on Debian: apt-get install chromium chromium-driver" >&2
exit 3
