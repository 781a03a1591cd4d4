"""Reading pictures: right, or refused with a remedy."""

import io
import struct

import cv2
import numpy as np
import pytest
from PIL import Image

from calib.images import heif_decoder, jpeg
from calib.images.heif import stored_orientation
from calib.images.photo import PhotoError, _zoom, read_photo, read_upright, turn_points, turn_upright

ROWS, COLUMNS = 300, 400


def picture():
    """A picture without symmetry: bright top-left corner, a dark bar at the right."""
    grey = np.full((ROWS, COLUMNS), 120, np.uint8)
    grey[:60, :80] = 230
    grey[100:200, 350:] = 20
    return grey


def save_jpeg(path, pixels, orientation=None):
    exif = Image.Exif()
    if orientation:
        exif[0x0112] = orientation
    exif[0x010F], exif[0x0110] = "Plover", "P9"
    details = exif.get_ifd(0x8769)
    details[0xA405] = 27
    Image.fromarray(pixels).save(path, "JPEG", quality=95, exif=exif)


@pytest.mark.parametrize("orientation", [None, 1, 2, 3, 4, 5, 6, 7, 8])
def test_pixels_stay_in_the_sensors_frame(tmp_path, orientation):
    save_jpeg(tmp_path / "a.jpg", picture(), orientation)
    photo = read_photo(tmp_path / "a.jpg")
    assert photo.grey.shape == (ROWS, COLUMNS)
    assert np.abs(photo.grey.astype(int) - picture()).mean() < 2
    assert photo.orientation == (orientation or 1)
    assert photo.camera.title == "Plover P9"
    assert photo.camera.focal_px == pytest.approx(27 / 43.2666 * np.hypot(ROWS, COLUMNS), rel=1e-6)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_upright_agrees_with_pillow(tmp_path, orientation):
    from PIL import ImageOps

    save_jpeg(tmp_path / "a.jpg", picture(), orientation)
    with Image.open(tmp_path / "a.jpg") as image:
        theirs = np.asarray(ImageOps.exif_transpose(image))
    colour, scale, found = read_upright(tmp_path / "a.jpg")
    ours = turn_upright(colour, found)[..., 0]
    assert scale == 1 and ours.shape == theirs.shape
    assert np.abs(ours.astype(int) - theirs).mean() < 2
    # a point goes where its pixel goes
    x, y = turn_points([[40.0, 30.0]], COLUMNS, ROWS, orientation)[0]
    assert ours[int(y), int(x)] > 200


def test_heic_is_turned_back_to_the_sensor(shared_data, tmp_path):
    photo = read_photo(shared_data / "odd_files" / "pug.heic")
    assert photo.grey.shape == (3024, 4032) and photo.orientation == 1
    assert photo.camera.focal35_mm == 26
    data = bytearray((shared_data / "odd_files" / "pug.heic").read_bytes())
    data[data.find(b"irot") + 4] = 3  # held upright: to be shown turned clockwise by a quarter
    (tmp_path / "upright.heic").write_bytes(data)
    turned = read_photo(tmp_path / "upright.heic")
    assert turned.orientation == 6 and turned.camera == photo.camera
    assert np.array_equal(turned.grey, photo.grey)


def box(kind, content):
    return struct.pack(">I4s", 8 + len(content), kind) + content


def heic_bytes(transforms, wide):
    """A HEIC file's head: the second of two items is the main one and has a size and then these
    properties."""
    listed = [box(b"ispe", bytes(12))] + [box(kind, bytes([value])) for kind, value in transforms]
    numbers = [(1, [1]), (2, list(range(1, len(listed) + 1)))]
    entries = b"".join(struct.pack(">HB", item, len(of)) + struct.pack(f">{len(of)}{'H' if wide else 'B'}", *(
        n | (0x8000 if wide else 0x80) for n in of)) for item, of in numbers)
    ipma = box(b"ipma", bytes([0, 0, 0, wide]) + struct.pack(">I", 2) + entries)
    iprp = box(b"iprp", box(b"ipco", b"".join(listed)) + ipma)
    return box(b"ftyp", b"heic" + bytes(4)) + box(
        b"meta",
        bytes(4) + box(b"pitm",
                       bytes(4) + struct.pack(">H", 2)) + iprp)


@pytest.mark.parametrize("transforms, orientation", [((), 1), ((("irot", 1),), 8), ((("irot", 2),), 3),
                                                     ((("irot", 3),), 6), ((("imir", 1),), 2),
                                                     ((("imir", 0),), 4), ((("irot", 3), ("imir", 1)), 5),
                                                     ((("irot", 1), ("imir", 1)), 7),
                                                     ((("imir", 1), ("irot", 1)), 5)])
def test_heic_files_say_how_they_are_turned(transforms, orientation):
    kinds = [(k.encode(), v) for k, v in transforms]
    for wide in (0, 1):
        data = heic_bytes(kinds, wide)
        assert stored_orientation(data) == orientation
        for end in range(len(data)):
            assert stored_orientation(data[:end]) in range(1, 9)


def test_formats_give_the_same_pixels(tmp_path):
    for name in ("a.png", "a.webp"):
        kind = {"webp": {"lossless": True}}.get(name[2:], {})
        Image.fromarray(picture()).convert("RGB").save(tmp_path / name, **kind)
        assert np.abs(read_photo(tmp_path / name).grey.astype(int) - picture()).max() <= 1


def test_sixteen_bits_and_cmyk(tmp_path):
    cv2.imwrite(str(tmp_path / "a.png"), picture().astype(np.uint16) * 257)
    assert np.abs(read_photo(tmp_path / "a.png").grey.astype(int) - picture()).max() <= 1
    Image.fromarray(picture()).convert("RGB").convert("CMYK").save(tmp_path / "a.jpg", quality=95)
    assert np.abs(read_photo(tmp_path / "a.jpg").grey.astype(int) - picture()).mean() < 4


def bad_files(folder):
    save_jpeg(folder / "whole.jpg", picture())
    data = (folder / "whole.jpg").read_bytes()
    (folder / "empty.jpg").write_bytes(b"")
    (folder / "cut.jpg").write_bytes(data[:len(data) // 2])
    (folder / "words.jpg").write_text("not a picture")
    (folder / "tiny.png").write_bytes(_png(20, 20))
    (folder / "folder.jpg").mkdir()
    (folder / "nowhere.jpg").symlink_to(folder / "gone.jpg")
    (folder / "movie.gif").write_bytes(_gif())
    (folder / "text.pgm").write_bytes(b"P2\n300 300\n255\n" +
                                      b"7 " * 90000)  # a large one takes minutes to read
    return [p for p in sorted(folder.iterdir()) if p.name != "whole.jpg"]


def _png(w, h):
    stream = io.BytesIO()
    Image.new("L", (w, h)).save(stream, "PNG")
    return stream.getvalue()


def _gif():
    stream = io.BytesIO()
    Image.new("P", (300, 300)).save(stream, "GIF")
    return stream.getvalue()


def test_bad_files_are_refused_with_a_remedy(tmp_path):
    files = bad_files(tmp_path)
    assert len(files) == 8
    for path in files:
        with pytest.raises(PhotoError) as error:
            read_photo(path)
        assert error.value.what and error.value.do


def test_a_giant_declaration_is_refused_before_decoding(tmp_path):
    import struct
    import zlib

    header = struct.pack(">IIBBBBB", 20000, 15000, 8, 0, 0, 0, 0)
    data = b"\x89PNG\r\n\x1a\n"
    for chunk in (b"IHDR" + header, b"IDAT" + zlib.compress(b"\0" * 100), b"IEND"):
        data += struct.pack(">I", len(chunk) - 4) + chunk + struct.pack(">I", zlib.crc32(chunk))
    (tmp_path / "bomb.png").write_bytes(data)
    with pytest.raises(PhotoError, match="pixels"):
        read_photo(tmp_path / "bomb.png")


def test_odd_files_from_outside(shared_data):
    """Pillow's and pillow_heif's own odd files: read, or refused in words; never another exception."""
    read = set()
    for path in sorted((shared_data / "odd_files").iterdir()):
        try:
            photo = read_photo(path)
        except PhotoError as error:
            assert error.what and error.do
        else:
            assert photo.grey.ndim == 2 and photo.grey.dtype == np.uint8
            read.add(path.name)
    assert {"pug.heic", "exif_typeerror.jpg", "hopper_bad_exif.jpg"} <= read
    assert not read & {"broken.png", "empty.heic", "truncated_image.png", "decompression_bomb.gif"}


def test_the_heic_decoder_may_die_and_be_slow():
    """What brings the other process down costs one picture: the next has a new one."""
    decoder = heif_decoder.Decoder()
    for _ in range(2):
        with pytest.raises(heif_decoder.HeifError, match="input"):  # its own words: it is alive
            decoder.decode(b"no picture", 1000)
        decoder._child.kill()
        decoder._child.wait()
    decoder.close()
    slow = heif_decoder.Decoder(longest_s=0.0)
    with pytest.raises(heif_decoder.HeifError, match="gave up"):
        slow.decode(b"no picture", 1000)
    slow.close()


def test_a_jpeg_of_very_many_passes_is_refused(tmp_path):
    """Each pass costs time over the whole picture: a small file could keep a decoder busy for hours."""
    stream = io.BytesIO()
    Image.fromarray(picture()).save(stream, "JPEG", quality=90, progressive=True)
    data = stream.getvalue()
    last = data.rfind(b"\xff\xda")
    assert 1 < jpeg.scans(data) < 20
    more = data[:-2] + data[last:-2] * 5000 + b"\xff\xd9"
    (tmp_path / "a.jpg").write_bytes(more)
    with pytest.raises(PhotoError, match="passes"):
        read_photo(tmp_path / "a.jpg")
    with_thumbnails = data[:2] + (b"\xff\xe1" + struct.pack(">H", 2 + 600) + data[:600]) * 150 + data[2:]
    assert jpeg.scans(with_thumbnails) == jpeg.scans(data)


@pytest.mark.parametrize("kind", ["TIFF", "BMP", "PPM", "GIF"])
def test_kinds_that_no_phone_writes_are_named_and_not_read(tmp_path, kind):
    path = tmp_path / "scan.jpg"
    Image.fromarray(picture()).save(path, kind)
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert "JPEG" in caught.value.do


@pytest.mark.parametrize("written, meant", [(None, 1.0), (1.0, 1.0), (1.00199, 1.0), (0.995, 1.0), (2.004, 2.0),
                                            (1.3, 1.3), (1.02, 1.02), (2.05, 2.05)])
def test_a_zoom_of_a_few_cut_off_rows_is_none(written, meant):
    """Cameras write 1.00199 where they cut 4032 pixels to 4024; a real digital zoom stays what it is."""
    assert _zoom(written) == meant
