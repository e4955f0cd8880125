# Sourced by the scripts beside it: one virtual environment for all of them.
set -eu
cd "$(dirname "$0")/.."
VENV="${FIRELOG_VENV:-.venv}"

as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; else sudo "$@"; fi
}

debian_packages() {
    command -v apt-get >/dev/null || { echo "Please install: $*" >&2; exit 2; }
    echo "Installing Debian packages: $*"
    as_root apt-get update -qq
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq "$@" >/dev/null
}

# Make the environment and install firelog into it; $1 is the pip requirement.
environment() {
    python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
        echo "firelog needs Python 3.11 or newer; this is $(python3 --version)" >&2
        exit 2
    }
    if [ ! -x "$VENV/bin/pip" ]; then
        # Debian ships python3 without the venv module's pip.
        python3 -c 'import ensurepip' 2>/dev/null || debian_packages python3-venv
        python3 -m venv "$VENV"
    fi
    "$VENV/bin/pip" install --quiet --disable-pip-version-check "$@"
}
