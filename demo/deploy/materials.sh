#!/bin/sh
# Writes what a deployed program is made of: an SBOM (CycloneDX 1.6, JSON) and the licenses, one package a line.
#   sh demo/deploy/materials.sh [FOLDER]     from the root of the checkout; var/materials unless named
# Made of a fresh environment with all that runs and nothing that only tests, in the versions of the lock file.
set -eu
cd "$(dirname "$0")/../.."
folder="${1:-var/materials}"
made=$(mktemp -d)
trap 'rm -rf "$made"' EXIT
python="${PYTHON:-python3}"
"$python" -m venv "$made/program"
"$python" -m venv "$made/tools"
export PIP_DISABLE_PIP_VERSION_CHECK=1
PIP_CONSTRAINT="$PWD/demo/constraints.txt" \
    "$made/program/bin/pip" install --quiet --no-compile ".[durable,postgresql]"
"$made/tools/bin/pip" install --quiet "cyclonedx-bom>=7.2,<8" "pip-licenses>=5,<6"
mkdir -p "$folder"
"$made/tools/bin/cyclonedx-py" environment "$made/program" --pyproject pyproject.toml --output-reproducible \
    --spec-version 1.6 --output-format JSON --output-file "$folder/sbom.cdx.json"
"$made/tools/bin/pip-licenses" --python "$made/program/bin/python" --ignore-packages barrelwise pip setuptools \
    --order license --format markdown --with-urls --output-file "$folder/licenses.md"
echo "written to $folder" >&2
