"""python -m tests.damage --count 2000 --seed N: drawn pictures damaged in every way; each is read right or
refused in words.

"Right" is: the drawn picture's own pixels (mean difference below a few grey levels), or flagged as damaged.
"""

from __future__ import annotations

import argparse
import io
import os
import resource
import struct
import sys
import tempfile
import time
import zlib
from collections import Counter
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from calib.images.photo import PhotoError, read_photo, read_upright

ROWS, COLUMNS = 240, 320
NEAR = 6.0  # grey levels, mean: what strong compression may cost
SLOW_S = 10.0


def drawn(rng):
    """A picture (240, 320) without symmetry: ramps, blocks and a little noise."""
    y, x = np.mgrid[:ROWS, :COLUMNS]
    grey = 60 + 0.3 * x + 0.2 * y
    for _ in range(12):
        left, top = rng.integers(0, COLUMNS - 60), rng.integers(0, ROWS - 60)
        grey[top:top + rng.integers(20, 60), left:left + rng.integers(20, 60)] = rng.integers(10, 245)
    return np.clip(grey + rng.normal(0, 1, grey.shape), 0, 255).astype(np.uint8)


def _saved(picture, kind, **options):
    stream = io.BytesIO()
    picture.save(stream, kind, **options)
    return stream.getvalue()


def _exif(rng):
    exif = Image.Exif()
    exif[0x0112] = int(rng.integers(0, 11))
    exif[0x010F], exif[0x0110] = "Plover", "P9"
    exif.get_ifd(0x8769)[0xA405] = 27
    return exif


def sound(grey, rng):
    """(kind, suffix, bytes) of a picture written whole, in a way drawn at random."""
    one = Image.fromarray(grey)
    colour, exif = one.convert("RGB"), _exif(rng)
    quality = int(rng.integers(80, 97))
    makers = {
        "grey jpeg": (".jpg", lambda: _saved(one, "JPEG", quality=quality, exif=exif)),
        "jpeg": (".JPG", lambda: _saved(colour, "JPEG", quality=quality, exif=exif)),
        "progressive": (".jpeg",
                        lambda: _saved(colour, "JPEG", quality=quality, progressive=True, exif=exif)),
        "cmyk": (".jpg", lambda: _saved(colour.convert("CMYK"), "JPEG", quality=95)),
        "mpo": (".jpg", lambda: _saved(colour, "MPO", quality=95, save_all=True, append_images=[colour])),
        "png": (".png", lambda: _saved(colour, "PNG", exif=exif)),
        "palette": (".png", lambda: _saved(one.convert("P"), "PNG")),
        "alpha": (".png", lambda: _saved(colour.convert("RGBA"), "PNG")),
        "grey alpha": (".png", lambda: _saved(one.convert("LA"), "PNG")),
        "16 bit": (".png", lambda: cv2.imencode(".png",
                                                grey.astype(np.uint16) * 257)[1].tobytes()),
        "animated png": (".png",
                         lambda: _saved(colour, "PNG", save_all=True, append_images=[colour.rotate(180)])),
        "webp": (".webp", lambda: _saved(colour, "WEBP", lossless=True, exif=exif)),
        "animated webp": (
            ".webp",
            lambda: _saved(colour, "WEBP", lossless=True, save_all=True, append_images=[colour.rotate(180)])),
        "gif": (".gif", lambda: _saved(one, "GIF")),
    }
    kind = str(rng.choice(list(makers)))
    return kind, makers[kind][0], makers[kind][1]()


def giant(rng, side=(20000, 15000)):
    """A few bytes that declare 300 megapixels: (suffix, bytes)."""
    w, h = side
    png = b"\x89PNG\r\n\x1a\n"
    for chunk in (b"IHDR" + struct.pack(">IIBBBBB", w, h, 8, 0, 0, 0, 0), b"IDAT" + zlib.compress(bytes(100)),
                  b"IEND"):
        png += struct.pack(">I", len(chunk) - 4) + chunk + struct.pack(">I", zlib.crc32(chunk))
    jpeg = bytearray(_saved(Image.new("L", (320, 240)), "JPEG"))
    at = jpeg.find(b"\xff\xc0")
    jpeg[at + 5:at + 9] = struct.pack(">HH", h, w)
    choices = [(".png", png), (".jpg", bytes(jpeg))]
    return choices[int(rng.integers(len(choices)))]


def _cut(data, rng):
    places = (rng.integers(1, 64), rng.integers(1, len(data)), len(data) - rng.integers(1, 40))
    return data[:max(1, int(places[int(rng.integers(3))]))]


def _flipped(data, rng):
    out = bytearray(data)
    span = len(out) if rng.random() < 0.6 else min(len(out), 600)  # headers are small and matter most
    for at in rng.integers(0, span, int(rng.integers(1, 12))):
        out[at] ^= 1 << int(rng.integers(8))
    return bytes(out)


def _run_of(data, rng):
    """A stretch overwritten with one byte, as failing storage leaves it."""
    at, n = int(rng.integers(len(data))), int(rng.integers(1, 4000))
    return data[:at] + bytes([int(rng.choice([0, 255]))]) * min(n, len(data) - at) + data[at + n:]


def _bad_exif(data, rng):
    at = data.find(b"Exif\0\0")
    if at < 0:
        return _flipped(data, rng)
    out = bytearray(data)
    for place in rng.integers(at + 6, min(at + 90, len(out)), int(rng.integers(1, 30))):
        out[place] = int(rng.integers(256))
    return bytes(out)


_DAMAGES = {
    "none": lambda d, r: d, "cut": _cut, "flipped": _flipped, "overwritten": _run_of, "bad exif": _bad_exif,
    "tail": lambda d, r: d + r.bytes(int(r.integers(1, 3000)))
}
_SPECIAL = ("empty", "giant", "folder", "link to nowhere", "fifo", "words", "long name", "odd name",
            "wrong suffix")


def place_one(folder, number, rng):
    """Write one file.  Returns (path, label, drawn picture, whether it must be refused or read right: None,
    False or True)."""
    grey = drawn(rng)
    kind, suffix, data = sound(grey, rng)
    stem = f"{number:05d}"
    if rng.random() < 0.15:
        special = str(rng.choice(_SPECIAL))
        path = folder / f"{stem}.jpg"
        if special == "empty":
            path.write_bytes(b"")
        elif special == "giant":
            suffix, data = giant(rng)
            path = folder / (stem + suffix)
            path.write_bytes(data)
        elif special == "folder":
            path.mkdir()
        elif special == "link to nowhere":
            path.symlink_to(folder / "gone")
        elif special == "fifo":
            os.mkfifo(path)
        elif special == "words":
            path.write_bytes(rng.bytes(int(rng.integers(1, 5000))))
        else:
            name = {"long name": stem + "n" * 240, "odd name": f"{stem} Bär \u202e\x1b[31m測定",
                    "wrong suffix": stem}[special]
            wrong = ".png" if kind != "png" and special == "wrong suffix" else suffix
            path = folder / (name + wrong)
            path.write_bytes(data)
            return path, f"{special}", grey, kind != "gif"
        return path, special, grey, False
    damage = str(rng.choice(list(_DAMAGES)))
    path = folder / (stem + suffix)
    path.write_bytes(_DAMAGES[damage](data, rng))
    wanted = (kind != "gif") if damage == "none" else (False if kind == "gif" and damage == "cut" else None)
    return path, f"{kind}, {damage}", grey, wanted


def judge(path, grey, wanted):
    """(outcome, complaint or None) of reading one file."""
    start = time.perf_counter()
    try:
        photo = read_photo(path)
        off = (float(np.abs(photo.grey.astype(int) -
                            grey).mean()) if photo.grey.shape == grey.shape else np.inf)
        outcome = "damage told" if photo.damaged else ("right" if off < NEAR else "unlike")
    except PhotoError as error:
        outcome = "refused"
        if not (error.what and error.do):
            return outcome, "a refusal without a remedy"
    except Exception as error:
        return "crash", f"{type(error).__name__}: {error}"
    spent = time.perf_counter() - start
    if spent > SLOW_S:
        return outcome, f"took {spent:.1f} s"
    if wanted is True and outcome != "right":
        return outcome, f"a sound picture came out {outcome}"
    if wanted is False and outcome != "refused":
        return outcome, f"was to be refused, came out {outcome}"
    try:
        read_upright(path)
    except PhotoError:
        pass
    except Exception as error:
        return "crash", f"in colour: {type(error).__name__}: {error}"
    return outcome, None


def run(count, seed, folder):
    """Returns (outcomes: Counter, complaints: list of str, unlike: labels Counter, slowest s, what C
    libraries printed)."""
    rng = np.random.default_rng(seed)
    outcomes, unlike, complaints, slowest = Counter(), Counter(), [], 0.0
    with tempfile.TemporaryFile() as heard:
        before = os.dup(2)
        os.dup2(heard.fileno(), 2)
        try:
            for number in range(count):
                path, label, grey, wanted = place_one(folder, number, rng)
                start = time.perf_counter()
                outcome, complaint = judge(path, grey, wanted)
                slowest = max(slowest, time.perf_counter() - start)
                outcomes[outcome] += 1
                if outcome == "unlike":
                    unlike[label] += 1
                if complaint:
                    complaints.append(f"{number} ({label}): {complaint}")
                if path.is_file() or path.is_symlink() or path.is_fifo():
                    path.unlink()
        finally:
            os.dup2(before, 2)
            os.close(before)
        heard.seek(0)
        return outcomes, complaints, unlike, slowest, heard.read().decode("utf-8", "replace")


def run_on(source, count, seed, folder):
    """As `run`, damages of one sound photo from outside, such as a phone's HEIC, which nothing here can
    write.

    Returns (outcomes: Counter by damage and outcome, complaints).
    """
    rng, data, grey = np.random.default_rng(seed), source.read_bytes(), read_photo(source).grey
    outcomes, complaints = Counter(), []
    for number in range(count):
        damage = str(rng.choice(list(_DAMAGES)))
        path = folder / f"{number}{source.suffix}"
        path.write_bytes(_DAMAGES[damage](data, rng))
        wanted = {"none": True, "tail": True}.get(damage)
        outcome, complaint = judge(path, grey, False if damage == "cut" else wanted)
        outcomes[f"{damage}: {outcome}"] += 1
        if complaint:
            complaints.append(f"{source.name} {number} ({damage}): {complaint}")
        path.unlink()
    return outcomes, complaints


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.damage")
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--photo", type=Path, help="Damage this photo instead, such as a phone's HEIC.")
    options = parser.parse_args()
    if options.photo:
        with tempfile.TemporaryDirectory() as folder:
            outcomes, complaints = run_on(options.photo, options.count, options.seed, Path(folder))
        print("\n".join([f"{v:5d} {k}"
                         for k, v in sorted(outcomes.items())] + [f"WRONG {line}" for line in complaints]))
        sys.exit(1 if complaints else 0)
    with tempfile.TemporaryDirectory() as folder:
        outcomes, complaints, unlike, slowest, heard = run(options.count, options.seed, Path(folder))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(", ".join(f"{k} {v}" for k, v in outcomes.most_common()))
    print(f"slowest {slowest:.2f} s, peak memory {peak:.0f} MB, {len(heard)} characters printed by libraries")
    print("read without a word, unlike the drawn picture:", dict(unlike.most_common()))
    for line in complaints:
        print("WRONG", line)
    if heard:
        print("HEARD", heard[:2000])
    sys.exit(1 if complaints or heard else 0)


if __name__ == "__main__":
    main()
