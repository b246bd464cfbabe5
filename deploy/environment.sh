#!/usr/bin/env bash
# Prints the folder of a ready Python environment, made first when it is missing.
#
#   deploy/environment.sh demo      what deploy/demo needs:  versions of deploy/server.lock
#   deploy/environment.sh tests     what tests/run needs:    versions of deploy/tests.lock
#
# Needs Python 3.11 or newer, nothing else; SHIMSTOCK_PYTHON names the one to use. All messages go to standard error.
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)

suitable() {
    "$1" -I -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1
}

find_python() {
    local candidate
    if [ -n "${SHIMSTOCK_PYTHON:-}" ]; then
        if suitable "$SHIMSTOCK_PYTHON"; then
            echo "$SHIMSTOCK_PYTHON"
            return 0
        fi
        echo "SHIMSTOCK_PYTHON=$SHIMSTOCK_PYTHON is not Python 3.11 or newer" >&2
        exit 69
    fi
    for candidate in python3 python3.11 python3.12 python3.13 python3.14 /usr/bin/python3; do
        if suitable "$candidate"; then
            echo "$candidate"
            return 0
        fi
    done
    return 1
}

if ! python=$(find_python); then
    [ -z "${SHIMSTOCK_PYTHON:-}" ] || exit 69
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
        echo "No Python 3.11 or newer found: installing Debian's python3 and python3-venv" >&2
        apt-get update -q >&2
        DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends python3 python3-venv >&2
    fi
    if ! python=$(find_python); then
        echo "Shimstock needs Python 3.11 or newer; install it, or name it in SHIMSTOCK_PYTHON" >&2
        exit 69
    fi
fi

exec "$python" -I "$here/environment.py" "$@"
