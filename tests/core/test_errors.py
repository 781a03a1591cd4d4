"""Everything that a user can cause has one base with where, what and what to do."""

import pickle

import pytest

from calib.errors import InputError
from calib.images.photo import PhotoError, read_photo
from calib.kit import KitError
from calib.lengths import LengthError
from calib.profile import ProfileError
from photoangle.carfile.corrections import CorrectionsError
from photoangle.carfile.reader import CarFileError
from photoangle.core.errors import CannotUse, as_finding
from photoangle.core.findings import ATTENTION, Finding


@pytest.mark.parametrize(
    "kind",
    [InputError, PhotoError, KitError, ProfileError, CarFileError, CorrectionsError, LengthError, CannotUse],
)
def test_one_base_one_way_to_say_it(kind):
    error = kind("car.toml, line 3", "a key is unknown", "did you mean hub?")
    assert isinstance(error, InputError) and (error.where, error.what, error.do) == error.args
    assert str(error) == "car.toml, line 3: a key is unknown; did you mean hub?"
    assert str(kind("", "a key is unknown", "")) == "a key is unknown"
    assert str(pickle.loads(pickle.dumps(error))) == str(error)


def test_errors_and_findings_say_the_same():
    finding = Finding(ATTENTION, "lens", "no photos", "take ten")
    assert as_finding(CannotUse.because(finding), ATTENTION) == finding


def test_a_photo_that_cannot_be_read_is_named(tmp_path):
    path = tmp_path / "a.jpg"
    path.write_bytes(b"")
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert caught.value.where == str(path) and "empty" in caught.value.what
