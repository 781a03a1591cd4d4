"""Which part may import which, what imports cost, and that the documents keep up."""

import ast
import re
import subprocess
import sys

import pytest

from tests.conftest import ROOT
from tests.stages import drawing, imports_of, layer

PICTURES = {"cv2", "skimage", "PIL", "pi_heif"}


def sources(folder):
    return sorted((ROOT / folder).rglob("*.py"))


def test_every_module_imports_only_what_stands_below_it():
    for path in sources("photoangle") + sources("calib"):
        own = layer(".".join(path.relative_to(ROOT).with_suffix("").parts))
        if own is None:
            assert path.parent.name == "photoangle" and path.stem.startswith("__"), f"{path} is in no layer"
            continue
        for name in imports_of(path):
            other = layer(name)
            assert other is None or own <= other, (
                f"{path.relative_to(ROOT)} imports {name}, which stands above it"
            )


CAR_WORDS = re.compile(
    r"\b(cars?|garages?|bush(es)?|hoses?|knuckles?|anti-roll|sway|suspensions?|sills?|chassis"
    r"|wheels?|axles?|arch(es)?|drop links?|control arms?|ball"
    r" joints?|brakes?|calipers?|bar_\w+|arm_\w+|droop)\b",
    re.I,
)


def test_calib_knows_nothing_of_cars():
    """Roles, words and sheets come to it as data; its own code and docstrings have no word of cars."""
    for path in sources("calib"):
        for number, line in enumerate(path.read_text().splitlines(), 1):
            found = CAR_WORDS.search(line)
            assert not found, f"{path.relative_to(ROOT)}:{number} says {found[0]!r}"


def test_developers_shows_the_stages_as_they_stand():
    text = (ROOT / "DEVELOPERS.md").read_text()
    for line in drawing():
        assert line.rstrip() in text, f"DEVELOPERS.md lacks {line!r}: write it anew with python -m tests.stages"


def test_linkage_is_pure_mechanics():
    """The linkage knows joints and lengths, no file, no photo and no marker."""
    for path in sources("photoangle/linkage"):
        for name in imports_of(path):
            assert name.split(".")[0] not in PICTURES, (path, name)
            ours = name.startswith(("photoangle.", "calib."))
            assert not ours or name.startswith(
                ("photoangle.linkage", "photoangle.core")) or name in ("calib.differences", "calib.poses"), (path, name)


def test_no_folder_holds_more_than_sixteen_modules():
    for top in ("photoangle", "calib", "tests", "sample_images"):
        for folder in [ROOT / top, *(p for p in (ROOT / top).rglob("*") if p.is_dir())]:
            count = len(list(folder.glob("*.py")))
            assert count <= 16, f"{folder.relative_to(ROOT)} holds {count} modules: a stage is hidden in it"


def test_the_page_asks_nothing_of_any_network():
    for path in (ROOT / "photoangle" / "page").rglob("*"):
        if path.suffix in (".html", ".js", ".css", ".svg"):
            text = path.read_text().replace("http://www.w3.org/2000/svg", "")
            assert (
                "http://" not in text
                and "https://" not in text
                and "<script>" not in text
                and " style=" not in text
            ), path


def test_only_the_command_line_knows_click():
    for path in sources("photoangle") + sources("calib"):
        if path.name not in ("cli.py", "terminal.py"):
            assert "click" not in imports_of(path), path


@pytest.mark.parametrize("module", [
    "cv2", "scipy", "matplotlib", "numpy", "PIL", "reportlab", "skimage", "flask", "tomlkit", "segno",
    "pydantic"
])
def test_help_imports_nothing_heavy(module):
    code = ("import sys; sys.argv = ['photoangle', '--help']\n"
            "from photoangle.cli import main\n"
            "try: main()\nexcept SystemExit: pass\n"
            f"sys.exit({module!r} in sys.modules)")
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True,
                          check=False).returncode == 0


def test_the_readme_names_every_command():
    from photoangle.cli import main

    readme = (ROOT / "README.md").read_text()
    for name in main.commands:
        assert f"photoangle {name}" in readme, name


def test_the_readme_has_the_cautions():
    readme = (ROOT / "README.md").read_text().lower()
    for words in ("chock the wheels", "never a jack alone", "nobody under the car", "both wheels of the axle",
                  "hung by its hose", "fire watch", "lock nuts", "maker's torque", "both locks", "certify"):
        assert words in readme, words


def test_the_top_level_is_as_agreed():
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True,
                             check=False).stdout
    if not tracked:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in tracked.splitlines()}
    assert top <= {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "photoangle", "calib", "tests", "sample_images",
        ".ci", ".gitignore"
    }


def test_public_functions_are_documented():
    for path in sources("calib") + sources("photoangle"):
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_"):
                assert ast.get_docstring(node), f"{path.relative_to(ROOT)}: {node.name}"


def test_packages_on_the_card_are_used():
    used = set().union(*(imports_of(p) for p in sources("calib") + sources("photoangle")))
    tops = {n.split(".")[0] for n in used}
    assert {"cv2", "numpy", "skimage", "click"} <= tops
    declared = re.findall(r'^\s+"([A-Za-z0-9_-]+)[>=]', (ROOT / "pyproject.toml").read_text(), re.M)
    module = {"opencv-python": "cv2", "scikit-image": "skimage", "pillow": "PIL", "pi-heif": "pi_heif"}
    for name in declared:
        if name in ("pytest", "pypdfium2", "uncertainties", "pupil-apriltags", "pyceres", "mitsuba", "piexif",
                    "setuptools"):
            continue
        assert module.get(name, name) in tops, name


def test_readme_and_program_give_the_same_cautions():
    from photoangle.core.cautions import CAUTIONS

    readme = " ".join((ROOT / "README.md").read_text().split())
    for line in CAUTIONS:
        assert line in readme, line
