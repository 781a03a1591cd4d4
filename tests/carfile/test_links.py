"""No link in a car folder leads out of it."""

import pytest

from photoangle.carfile.folder import load_car, photo_files
from photoangle.carfile.symlinks import skipped_links
from photoangle.core.errors import CannotUse


@pytest.mark.parametrize("name", ["car.toml", "lens", "results", "front-left"])
def test_what_is_used_by_name_may_be_no_link(tmp_path, name):
    car, outside = tmp_path / "car", tmp_path / "outside"
    car.mkdir()
    if name == "car.toml":
        outside.write_text("")
    else:
        outside.mkdir()
    (car / name).symlink_to(outside)
    with pytest.raises(CannotUse) as caught:
        load_car(car)
    assert caught.value.where == name and "links" in caught.value.what


def test_a_linked_photo_is_left_alone_and_said(tmp_path):
    folder = tmp_path / "front-left" / "droop"
    folder.mkdir(parents=True)
    (tmp_path / "secret.jpg").write_bytes(b"x")
    (folder / "a.jpg").symlink_to(tmp_path / "secret.jpg")
    (folder / "b.jpg").write_bytes(b"x")
    assert [p.name for p in photo_files(folder)] == ["b.jpg"]
    assert [f.where for f in skipped_links(tmp_path)] == ["front-left/droop/a.jpg"]
