"""What the phone makes of the light: blur, sensor noise, mosaic, tone, noise reduction, sharpening, JPEG."""
import io
from dataclasses import dataclass

import cv2
import numpy as np
import piexif
from PIL import Image

MAKE, MODEL, LENS_MODEL = "Plover", "Plover P9", "Plover P9 main camera 5.9mm f/1.8"
FOCAL_MM, FOCAL_35_MM = 5.9, 27


@dataclass(frozen=True)
class Taking:
    """How one photo was taken.  blur_px is the optics' sigma; motion_px a straight smear's length."""
    blur_px: float = 0.75
    motion_px: float = 0.6
    motion_deg: float = 0.0
    iso: int = 320
    exposure_s: float = 1 / 50
    brightness: float = 0.0       # stops above the metered exposure
    warmth: float = 0.0
    seed: int = 1


def _smear(image, length_px, angle_deg):
    """A straight motion smear, centred so that nothing shifts on average."""
    if length_px < 0.05:
        return image
    n = int(np.ceil(length_px)) | 1
    size = n + 4
    c = size // 2
    kernel = np.zeros((size, size))
    for s in np.linspace(-0.5, 0.5, 16 * size + 1):
        x, y = c + s * length_px * np.cos(np.radians(angle_deg)), c + s * length_px * np.sin(
            np.radians(angle_deg))
        x0, y0 = int(np.floor(x)), int(np.floor(y))
        for dx in (0, 1):
            for dy in (0, 1):
                kernel[y0 + dy, x0 + dx] += (1 - abs(x - x0 - dx)) * (1 - abs(y - y0 - dy))
    return cv2.filter2D(image, -1, (kernel / kernel.sum()).astype(np.float32), borderType=cv2.BORDER_REFLECT)


def _vignette(h, w):
    y, x = np.ogrid[:h, :w]
    r2 = ((x - w / 2) ** 2 + (y - h / 2) ** 2) / ((w / 2) ** 2 + (h / 2) ** 2)
    return (1 - 0.30 * r2 + 0.05 * r2 ** 2).astype(np.float32)


FULL = (4095 - 256) / 3400      # the sensor's full scale, as linear brightness


def tone(x):
    """Linear 0.. to display 0..1: lifted shadows, a soft shoulder and a gentle S."""
    x = np.maximum(x, 0)
    x = x * (1 + 0.16 * x) / (1 + 0.80 * x) * 1.42
    g = np.clip(x, 0, 1.2) ** (1 / 2.2)
    g = np.clip(g, 0, 1)
    return g + 0.09 * np.sin(2 * np.pi * (g - 0.5)) / np.pi * 1.2 * (g - g ** 2) * 4 * 0.5


_TONE = tone(np.linspace(0, 4, 16385)).astype(np.float32)


APERTURE_MM = 1.6      # width of the light's cone at the lens, for what is out of focus


def _defocus(image, far_mm, focal_px):
    """Softens what lies nearer or farther than the middle of the picture; far_mm (h, w)."""
    h, w = far_mm.shape
    focus = np.median(far_mm[h // 4:3 * h // 4:16, w // 4:3 * w // 4:16])
    sigma = APERTURE_MM * focal_px * np.abs(1 / np.maximum(far_mm, 100) - 1 / focus) / 4
    sigma = cv2.GaussianBlur(cv2.resize(sigma, (w // 4, h // 4), interpolation=cv2.INTER_AREA), (0, 0), 2)
    sigma = cv2.resize(sigma, (w, h))
    out, below = image, image
    for step in (0.6, 1.2, 1.8):
        above = cv2.GaussianBlur(image, (0, 0), step, borderType=cv2.BORDER_REFLECT)
        share = np.clip((sigma - step + 0.6) / 0.6, 0, 1)[..., None]
        out = out + share * (above - below)
        below = above
    return out


def develop(linear, taking, far_mm=None, focal_px=2618.0):
    """Linear scene colours (h, w, 3) float32 and distances (h, w) -> uint8 RGB as the phone stores them."""
    rng = np.random.default_rng([taking.seed, 911])
    h, w = linear.shape[:2]
    if far_mm is not None:
        linear = _defocus(linear, far_mm, focal_px)
    img = cv2.GaussianBlur(linear, (0, 0), taking.blur_px, borderType=cv2.BORDER_REFLECT)
    img = _smear(img, taking.motion_px, taking.motion_deg)
    glow = cv2.resize(
        cv2.GaussianBlur(cv2.resize(img, (w // 8, h // 8), interpolation=cv2.INTER_AREA), (0, 0), 14), (w, h))
    img = 0.985 * img + 0.015 * glow
    img *= _vignette(h, w)[..., None]
    lum = img @ np.array([0.25, 0.6, 0.15], np.float32)
    metered = np.exp(np.mean(np.log(np.maximum(lum[::8, ::8], 2e-3))))
    high = np.percentile(lum[::8, ::8], 98.5)
    gain = min(0.19 / metered, 0.85 / high) * 2.0 ** taking.brightness
    img *= gain
    cast = np.array([0.52 + 0.03 * taking.warmth, 1.0, 0.60 - 0.03 * taking.warmth], np.float32)
    img *= cast
    mosaic = np.empty((h, w), np.float32)
    for dy, dx, c in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        mosaic[dy::2, dx::2] = img[dy::2, dx::2, c]
    well = 5200.0 * 100 / taking.iso
    mosaic += rng.standard_normal(
        (h, w), np.float32) * np.sqrt(np.maximum(mosaic, 0) / well + (1.9 / well)**2)
    raw = np.clip(mosaic * 3400 + 256, 0, 4095).round().astype(np.uint16) * 16
    rgb = cv2.demosaicing(raw, cv2.COLOR_BayerRGGB2RGB_EA).astype(np.float32)
    rgb = np.minimum((rgb / 16 - 256) / 3400 / cast, FULL)      # what overflows is white
    rgb = _denoise(rgb, taking.iso)
    rgb *= np.array([1.02, 1.0, 0.985], np.float32)
    pos = np.clip(rgb, 0, 3.99) * (16384 / 4)
    disp = _TONE[pos.astype(np.int32)]
    ycc = cv2.cvtColor(disp, cv2.COLOR_RGB2YCrCb)
    y = ycc[..., 0]
    detail = y - cv2.GaussianBlur(y, (0, 0), 1.3)
    ycc[..., 0] = y + 0.55 * np.clip(detail, -0.10, 0.10)
    ycc[..., 1:] = (ycc[..., 1:] - 0.5) * 1.12 + 0.5
    disp = cv2.cvtColor(ycc, cv2.COLOR_YCrCb2RGB)
    return (np.clip(disp, 0, 1) * 255 + 0.5).astype(np.uint8)


def _denoise(rgb, iso):
    """Mild noise reduction: colour smoothed much, brightness a little where it is flat."""
    y = rgb @ np.array([0.25, 0.6, 0.15], np.float32)
    root = np.sqrt(np.maximum(y, 0) + 2e-3)
    smooth = cv2.bilateralFilter(root, 5, 0.010 * np.sqrt(iso / 100) * 1.6, 1.2)
    quiet = smooth ** 2 - 2e-3
    out = np.empty_like(rgb)
    for c in range(3):
        d = rgb[..., c] - y
        d = cv2.GaussianBlur(cv2.medianBlur(d, 5), (0, 0), 2.0)
        out[..., c] = d + 0.65 * quiet + 0.35 * y
    return out


def exif_bytes(taking, when, portrait):
    """EXIF block; when is "YYYY:MM:DD HH:MM:SS"; portrait photos carry Orientation 6."""
    speed = round(1 / taking.exposure_s)
    return piexif.dump({
        "0th": {piexif.ImageIFD.Make: MAKE, piexif.ImageIFD.Model: MODEL,
                piexif.ImageIFD.Orientation: 6 if portrait else 1,
                piexif.ImageIFD.XResolution: (72, 1), piexif.ImageIFD.YResolution: (72, 1),
                piexif.ImageIFD.ResolutionUnit: 2, piexif.ImageIFD.DateTime: when},
        "Exif": {piexif.ExifIFD.DateTimeOriginal: when, piexif.ExifIFD.DateTimeDigitized: when,
                 piexif.ExifIFD.ExposureTime: (1, speed), piexif.ExifIFD.FNumber: (18, 10),
                 piexif.ExifIFD.ISOSpeedRatings: taking.iso,
                 piexif.ExifIFD.FocalLength: (int(FOCAL_MM * 10), 10),
                 piexif.ExifIFD.FocalLengthIn35mmFilm: FOCAL_35_MM,
                 piexif.ExifIFD.LensModel: LENS_MODEL}})


def save_jpeg(path, rgb, exif, limit_bytes=1_060_000):
    """Write the JPEG at the best quality that keeps it under limit_bytes; returns (quality, bytes)."""
    image = Image.fromarray(rgb)

    def coded(q):
        f = io.BytesIO()
        image.save(f, "JPEG", quality=q, subsampling=2, exif=exif, optimize=False)
        return f.getvalue()
    lo, hi = 55, 93
    best = coded(lo)
    quality = lo
    while lo < hi:
        mid = (lo + hi + 1) // 2
        data = coded(mid)
        if len(data) <= limit_bytes:
            lo, best, quality = mid, data, mid
        else:
            hi = mid - 1
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(best)
    return quality, len(best)
