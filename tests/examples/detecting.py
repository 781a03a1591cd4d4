"""Find the printed markers in one photo, from its file and from pixels already in memory."""

import sys
from pathlib import Path

import numpy as np
from PIL import Image

import photoangle

CAR = Path(sys.argv[1] if len(sys.argv) > 1 else "sample_images")
PHOTO = sorted((CAR / "front-left" / "set").glob("*.jpg"))[0]

found = photoangle.detect(PHOTO)
kit = photoangle.default_kit()
print(f"{PHOTO.name}: {len(found.tags)} markers, {len(found.card.index)} corners of the card")
for tag_id, tag in sorted(found.tags.items()):
    u_px = np.sqrt(np.diag(tag.covariance_px2)).mean()
    print(
        f"  {tag_id} {kit.slot(tag_id).role.title:18s} {tag.side_px:5.0f} px wide, corners known to"
        f" {u_px:.3f} px"
    )

# Pixels do as well as a file: (H, W) grey or (H, W, 3) RGB, in the sensor's frame.
pixels = np.asarray(Image.open(PHOTO).convert("RGB"))
again = photoangle.detect(pixels)
apart_px = max(np.abs(again.tags[i].corners_px - found.tags[i].corners_px).max() for i in found.tags)
print(f"from pixels the same {len(again.tags)} markers, within {apart_px:.4f} px")

# What is no photo says where, what and what to do.
try:
    photoangle.detect(pixels.astype(float))
except photoangle.InputError as error:
    print(f"refused: {error.what}; {error.do}")
