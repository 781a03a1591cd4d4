"""The stages as they stand, drawn from the imports: ``python -m tests.stages``.

Each line is a package: what it is for (the first line of its docstring), its lines of code, and the packages
it imports. A package imports only packages below it; `tests/test_layout.py` holds that, and that
DEVELOPERS.md shows this drawing.
"""

from __future__ import annotations

import ast

from tests.conftest import ROOT

# From the answer down to the photo: what a package may import stands below it.
LAYERS = ("cli", "commands", "page", "report", "output", "api", "comparison", "pipeline", "advice",
          "droplink", "figures", "geometry", "reconstruction", "detection", "linkage", "carfile", "core",
          "calib")


def layer(module):
    """Where a module of ours stands in LAYERS, or None: the package's face and its version are
    everybody's."""
    parts = module.split(".")
    name = parts[0] if parts[0] == "calib" else parts[1] if len(
        parts) > 1 and parts[0] == "photoangle" else None
    return LAYERS.index(name) if name in LAYERS else None


def imports_of(path):
    """Modules that a file imports, anywhere in it."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
    return names


def files_of(name):
    """The files of a layer."""
    place = ROOT / "calib" if name == "calib" else ROOT / "photoangle" / name
    return sorted(place.rglob("*.py")) if place.is_dir() else [place.with_suffix(".py")]


def about(name):
    """What a layer is for: the first line of its docstring."""
    text = ast.get_docstring(ast.parse(files_of(name)[0].read_text(encoding="utf-8"))) or ""
    return text.split("\n")[0]


def drawing():
    """The stages as lines of text."""
    lines = []
    for k, name in enumerate(LAYERS):
        used = set().union(*(imports_of(f) for f in files_of(name)))
        below = sorted({layer(m) for m in used} - {None, k})
        lines.append(f"{name:14s} {about(name)}")
        lines.append(f"{'':14s}   {'-> ' + ' '.join(LAYERS[n] for n in below) if below else '(imports none of the others)'}")
    return lines


if __name__ == "__main__":
    print("\n".join(drawing()))
