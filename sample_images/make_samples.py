"""Makes the demo photos, their truth and the demo car's car.toml.

    python sample_images/make_samples.py [--only GLOB] [--no-photos] [--samples N]

Needs numpy, scipy, opencv, pillow, piexif and mitsuba (its LLVM variant needs LLVM 16 or newer).
About 25 s a photo on two cores.  --only limits the photos drawn (the truth of the others is kept
as it is in truth.json); --no-photos writes only truth.json and car.toml.
"""
import argparse
import fnmatch
import json
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from maker import truth
from maker.carfile import SLIP, car_toml
from maker.mechanics import states
from maker.picture import shots


def compact(data, indent=0):
    """JSON with short lists on one line: readable and small."""
    pad = " " * indent
    if isinstance(data, dict) and (indent < 6):
        rows = [f"{pad} {json.dumps(k)}: {compact(v, indent + 1)}" for k, v in data.items()]
        return "{\n" + ",\n".join(rows) + "\n" + pad + "}"
    if isinstance(data, list) and data and isinstance(data[0], dict):
        rows = [pad + " " + json.dumps(v, separators=(",", ":")) for v in data]
        return "[\n" + ",\n".join(rows) + "\n" + pad + "]"
    return json.dumps(data, separators=(",", ":"))


def draw(shot, state, samples, photos):
    """Draws one photo; returns its truth."""
    from maker.picture import bench, phone, render, staging
    camera = shot.camera(state)
    if state is None:
        scene, markers = bench.bench_scene(), []
    else:
        scene, markers = staging.stage(state, camera.place, shot.without_card, shot.rags)
    taking = shot.settings()
    if photos:
        scene.trace_light(camera, samples, seed=shot.seed % 900)
        linear, far_mm, _ = render.picture(scene, camera)
        rgb = phone.develop(linear, taking, far_mm, camera.K[0, 0])
        exif = phone.exif_bytes(taking, shot.when, shot.portrait)
        quality, size = phone.save_jpeg(HERE / shot.path, rgb, exif)
        print(f"{shot.path}: quality {quality}, {size / 1e6:.2f} MB", flush=True)
    return truth.photo_truth(shot, state, scene, camera, markers, taking)


def main():
    """Reads the command line and makes what is asked for."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--only", default="*", help="glob of photo paths, e.g. 'front-left/set/*'")
    ask.add_argument("--no-photos", action="store_true")
    ask.add_argument("--samples", type=int, default=32, help="light paths per traced point")
    args = ask.parse_args()
    file = HERE / "truth.json"
    kept = json.loads(file.read_text())["photos"] if file.exists() else {}
    photos, made = {}, {}
    for shot in shots.all_shots():
        if shot.state != "bench" and shot.state not in made:
            made[shot.state] = states.make_state(*shot.state.split("/"))
        if not fnmatch.fnmatch(shot.path, args.only):
            if shot.path in kept:
                photos[shot.path] = kept[shot.path]
            continue
        start = time.time()
        photos[shot.path] = draw(shot, made.get(shot.state), args.samples, not args.no_photos)
        if not args.no_photos:
            print(f"  {time.time() - start:.1f} s", flush=True)
    data = {"conventions": truth.CONVENTIONS, "tape_slip": SLIP,
            "floor_slope_deg": {"along": states.FLOOR_ALONG_DEG, "across": states.FLOOR_ACROSS_DEG},
            "linkage": {name: truth.linkage_truth(name) for name in ("front-left", "front-right")},
            "states": {k: truth.state_truth(s) for k, s in made.items()}, "photos": photos}
    file.write_text(compact(data) + "\n")
    (HERE / "car.toml").write_text(car_toml())


if __name__ == "__main__":
    main()
