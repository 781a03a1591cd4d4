"""What the project stands on: licences as listed, bounds for all of it, and plain words where something is
missing."""

import importlib.metadata
import os
import re
import subprocess
import sys
import tomllib

import pytest

from tests.conftest import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
NEEDED = {
    re.match(r"[A-Za-z0-9_-]+", line)[0].lower(): line
    for line in PROJECT["dependencies"] +
    [line for group in PROJECT["optional-dependencies"].values() for line in group]
}
LISTED = dict(
    re.findall(r"([a-z0-9-]+) \(([^)]+)\)",
               (ROOT / "DEVELOPERS.md").read_text().partition("## Dependencies")[2].partition("\n##")[0]))
# How a package's own notes say what the list says.
WORDS = {
    "BSD": ("BSD",), "MIT": ("MIT",), "Apache-2.0": ("Apache",), "MPL-2.0": ("MPL", "Mozilla"),
    "ZPL-2.1": ("ZPL", "Zope"),
    "its own, BSD-like": ("Python Software Foundation",)
}


def test_every_package_is_listed_and_has_a_lower_bound():
    assert set(LISTED) == set(NEEDED)
    assert all(">=" in line for line in NEEDED.values())


@pytest.mark.parametrize("name", sorted(NEEDED))
def test_the_listed_licence_is_the_packages_own(name):
    try:
        notes = importlib.metadata.metadata(name)
    except importlib.metadata.PackageNotFoundError:
        pytest.skip(f"{name} is not installed")
    own = " ".join(
        [notes.get("License-Expression") or "",
         notes.get("License") or "", *notes.get_all("Classifier", [])])
    words = next(words for start, words in WORDS.items() if LISTED[name].startswith(start))
    assert any(w in own for w in words)
    copyleft = [c for c in notes.get_all("Classifier", []) if "General Public License" in c]
    assert not copyleft or "LGPL" in LISTED[name]


@pytest.mark.parametrize(
    "raised, words", [('ImportError("libGL.so.1: cannot open shared object file: No such file or directory")',
                       "apt install libgl1"),
                      ('ModuleNotFoundError("No module named \'cv2\'", name="cv2")', "pip install")])
def test_a_missing_library_is_told(tmp_path, raised, words):
    (tmp_path / "cv2.py").write_text(f"raise {raised}\n")
    paths = os.pathsep.join([str(tmp_path), str(ROOT)])
    done = subprocess.run([sys.executable, "-m", "photoangle.cli", "kit",
                           str(tmp_path / "kit.pdf")],
                          capture_output=True,
                          text=True,
                          env=os.environ | {"PYTHONPATH": paths},
                          cwd=tmp_path)
    assert done.returncode == 2 and words in done.stderr and "Traceback" not in done.stderr
    assert not (tmp_path / "kit.pdf").exists()
