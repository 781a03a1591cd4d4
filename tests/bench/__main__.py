"""python -m tests.bench [corners] [finding] [solving] [lines] [command] [again]: the tables, as ratios from one
run."""

import os
import sys

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")


def main():
    from importlib import import_module

    known = ("corners", "finding", "solving", "lines", "command", "again")
    for name in sys.argv[1:] or known:
        if name not in known:
            sys.exit(f"unknown table {name!r}; known: {', '.join(known)}")
        print(f"== {name}")
        import_module(f"tests.bench.{name}").run()
        print()
    # the AprilTag library does not survive the freeing of its detectors
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(0)


if __name__ == "__main__":
    main()
