"""Installed fonts: where they are looked for, which is taken, and that another one is said."""

import hashlib

import pytest
from artwork.test_lettering import CHESTNUT, square_font
from fontTools.ttLib import TTFont

from moulddesign.artwork import font_files
from moulddesign.artwork.font_files import font_folders, font_keys, font_of, with_fonts
from moulddesign.core import SpecError
from moulddesign.design import Design, Layer

LATIN = {ord(char): char for char in "NUT"}


@pytest.fixture
def fonts(tmp_path, monkeypatch):
    """Return an empty folder that is the only one with fonts."""
    folder = tmp_path / "fonts"
    folder.mkdir()
    monkeypatch.setattr(font_files, "font_folders", lambda: (folder,))
    font_files.installed_fonts.cache_clear()
    yield folder
    font_files.installed_fonts.cache_clear()


@pytest.mark.parametrize(
    ("platform", "variables", "folder"),
    [
        pytest.param("linux", {"HOME": "/h"}, "/usr/share/fonts", id="XDG Base Directory, default"),
        pytest.param(
            "linux", {"HOME": "/h", "XDG_DATA_DIRS": "/opt/share"}, "/opt/share/fonts",
            id="XDG_DATA_DIRS",
        ),
        pytest.param("darwin", {"HOME": "/h"}, "/h/Library/Fonts", id="macOS, the user's"),
        pytest.param("darwin", {"HOME": "/h"}, "/System/Library/Fonts", id="macOS, the system's"),
        pytest.param("win32", {"WINDIR": "/w", "HOME": "/h"}, "/w/Fonts", id="Windows"),
    ],
)  # fmt: skip
def test_fonts_are_looked_for_where_systems_keep_them(platform, variables, folder):
    assert folder in [path.as_posix() for path in font_folders(platform, variables)]


def test_the_boldest_font_that_has_all_characters_is_taken(fonts):
    square_font(fonts / "thin.ttf", CHESTNUT | LATIN, weight=300, family="Thin")
    square_font(fonts / "below" / "bold.ttf", CHESTNUT | LATIN, weight=700, family="Bold")
    square_font(fonts / "lacking.ttf", CHESTNUT, weight=700, family="A bold one without NUT")
    (fonts / "broken.ttf").write_bytes(b"no font")
    assert font_of(Layer(text="栗 NUT"), fonts).name == "bold.ttf"
    assert font_of(Layer(text="NUT"), fonts) is None  # the bundled font has them
    assert font_of(Layer(text="NUT", font_name="thin"), fonts).name == "thin.ttf"


def test_what_to_install_is_said_by_script(fonts):
    # Unicode: U+6817 is of the script Han, U+0E15 of the script Thai
    with pytest.raises(SpecError, match=r"U\+6817 CJK UNIFIED IDEOGRAPH-6817.* the script Han "):
        font_of(Layer(text="栗"), fonts)
    with pytest.raises(SpecError, match=r"THAI CHARACTER TO TAO.* the script Thai "):
        font_of(Layer(text="ราตรี"), fonts)


def test_a_written_design_names_its_font_and_refuses_another(fonts):
    path = square_font(fonts / "square.ttf")
    design = with_fonts(Design.of({"relief": {"layers": [{"text": "栗"}, {"text": "NUT"}]}}))
    chestnut, nut = Design.of(design.plain()).relief.layers
    assert chestnut.font_name == "Square"
    assert chestnut.font_sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (nut.font_name, nut.font_sha256) == (None, None)
    assert font_of(chestnut, fonts) == path
    font = TTFont(path)
    font["head"].fontRevision = 2.0
    font.save(path)
    font_files.digest.cache_clear()
    with pytest.raises(SpecError, match=r"font_sha256.*another version of it draws other letters"):
        font_of(chestnut, fonts)
    path.unlink()
    font_files.installed_fonts.cache_clear()
    with pytest.raises(SpecError, match="font_name = 'Square': is not installed here"):
        font_of(chestnut, fonts)


def test_a_font_of_ones_own_keeps_its_path(tmp_path):
    path = square_font(tmp_path / "own.ttf")
    keys = font_keys(Layer(text="栗", font=str(path)), tmp_path)
    assert keys == {"font_sha256": hashlib.sha256(path.read_bytes()).hexdigest()}


@pytest.mark.parametrize(
    ("layer", "says"),
    [
        ({"text": "NUT", "set": "seal", "along": "outline"}, "leave along out"),
        ({"text": "NUT", "along": "outline", "radius_mm": 9}, "leave it out"),
        ({"text": "NUT", "font": "a.ttf", "font_name": "A"}, "either font or font_name"),
        ({"text": "NUT", "font_sha256": "12"}, "font_sha256"),
        ({"pattern": "sun", "set": "seal"}, "set"),
    ],
)
def test_keys_that_contradict_each_other_are_refused(layer, says):
    with pytest.raises(SpecError, match=says):
        Design.of({"relief": {"layers": [layer]}})
