"""python -m tests.lowest > lowest.txt: a constraints file with the lower bound of every package in
pyproject.toml.

    python -m venv low && low/bin/pip install -c lowest.txt -e ".[test]" && low/bin/python -m pytest
"""

import re

from tests.test_dependencies import NEEDED


def lowest():
    """Lines such as ``name==1.2.0.*``, a lower bound each."""
    out = []
    for line in NEEDED.values():
        name, bound = re.fullmatch(r"([A-Za-z0-9_-]+)>=([0-9.]+)", line).groups()
        out.append(f"{name}=={bound}{'.0' * (2 - bound.count('.'))}.*")
    return out


if __name__ == "__main__":
    print("\n".join(lowest()))
