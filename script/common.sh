# What the scripts share: a Python that is new enough, and .venv with the pinned packages.
# Sourced, with the checkout as the working directory.

local_dir="${PENULT_LOCAL_DIR:-.local}"
needed_kb=$((1024 * 1024))

fail() {
  echo "$*" >&2
  exit 1
}

is_new_enough() {
  "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1
}

find_python() {
  local candidate
  if [ -n "${PYTHON:-}" ]; then
    is_new_enough "$PYTHON" || fail "PYTHON=$PYTHON is not Python 3.11 or newer."
    echo "$PYTHON"
    return
  fi
  # The versions that the pinned packages were tried with, then whatever is there.
  for candidate in python3.13 python3.12 python3.11 python3 python; do
    if is_new_enough "$candidate"; then
      echo "$candidate"
      return
    fi
  done
  fail "Python 3.11 or newer was not found; install it, or name it: PYTHON=/path/to/python3 $0."
}

make_venv() {
  local python
  if is_new_enough .venv/bin/python && .venv/bin/python -m pip --version >/dev/null 2>&1; then
    return
  fi
  python="$(find_python)" || exit 1
  "$python" -c 'import venv, ensurepip' 2>/dev/null ||
    fail "Python's venv module is missing; install it (Debian and Ubuntu: apt-get install python3-venv)."
  echo "==> Making .venv with $("$python" --version)"
  "$python" -m venv --clear .venv || fail ".venv could not be made; is the disk full?"
}

# is_installed NAME: the packages of requirements/NAME.txt, as it is now, are in .venv.
is_installed() {
  [ "$(cat ".venv/installed-$1" 2>/dev/null)" = "$(cksum <"requirements/$1.txt")" ]
}

# Counts pip's lines on a terminal, where hundreds of them would hide what matters.
show_progress() {
  local line count=0 total="$1"
  while IFS= read -r line; do
    case "$line" in
      Collecting* | "Requirement already satisfied"*) count=$((count + 1)) ;;
      "Installing collected"*) count="$total" ;;
      *) continue ;;
    esac
    if [ -t 1 ]; then
      printf '\r    %s of %s packages' "$count" "$total"
    elif [ $((count % 20)) -eq 0 ] || [ "$count" = "$total" ]; then
      echo "    $count of $total packages"
    fi
  done
  if [ -t 1 ]; then echo; fi
}

install_packages() {
  local name="$1" log total
  log="$local_dir/logs/pip.log"
  total="$(grep -c '^[A-Za-z0-9].*==' "requirements/$name.txt")"
  [ "$(df -Pk . | awk 'NR == 2 { print $4 }')" -ge "$needed_kb" ] ||
    fail "The disk is full: $PWD needs $((needed_kb / 1024)) MB for the packages."
  mkdir -p "$local_dir/logs"
  rm -f .venv/installed-*
  echo "==> Installing the packages of requirements/$name.txt (once; about a minute)"
  .venv/bin/python -m pip install --require-hashes --no-deps --no-compile --no-input \
    --disable-pip-version-check -r "requirements/$name.txt" 2>&1 | tee "$log" | show_progress "$total" ||
    fail "The packages could not be installed; pip says: $(grep -v '^ ' "$log" | tail -n 3)"
  # develop.txt holds all of run.txt in the same versions.
  cksum <requirements/run.txt >.venv/installed-run
  if [ "$name" = develop ]; then cksum <requirements/develop.txt >.venv/installed-develop; fi
}

# Where the environment forbids Python to keep what it compiled beside the sources, every server and
# program of a stack would compile all packages anew, for many seconds each: keep it here instead.
keep_bytecode() {
  if [ -n "${PYTHONDONTWRITEBYTECODE:-}" ]; then
    unset PYTHONDONTWRITEBYTECODE
    PYTHONPYCACHEPREFIX="$(cd "$local_dir" && pwd)/bytecode"
    export PYTHONPYCACHEPREFIX
  fi
}

# prepare NAME: .venv holds the packages of requirements/NAME.txt.
prepare() {
  [ -w . ] || fail "$PWD cannot be written; make it writable, or work in another copy."
  if [ ! -d "$local_dir" ]; then (umask 077 && mkdir -p "$local_dir") || fail "$local_dir cannot be made."; fi
  keep_bytecode
  (
    # Two scripts started together must not install into one .venv at once.
    if command -v flock >/dev/null; then
      exec 9>"$local_dir/venv.lock"
      flock 9
    fi
    make_venv
    is_installed "$1" || install_packages "$1"
  ) || exit 1
}
