"""Bundles: what is read of a zip, what is refused, and that a customer's drawing stays out."""

import io
import zipfile

import pytest
from command_line import ran

from moulddesign.core import FileError, SpecError
from moulddesign.design import Design, parse_bundle, read_bundle, without_customers
from moulddesign.design.bundle import MOST_ENTRIES, zip_bytes
from moulddesign.page.design_files import read_set
from moulddesign.page.uploads import UploadStore

SQUARE = (
    b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10">'
    b'<rect x="2" y="2" width="6" height="6"/></svg>'
)
TOML = b"""
[portion]
finished_weight_g = 60
[relief]
layers = [{ pattern = "crest.svg", size_mm = 9 }, { pattern = "../own/leaf.svg", size_mm = 9 }]
[share]
author = "The orchard"
licence = "CC-BY-4.0"
customers_files = ["crest.svg"]
"""


def zipped(files, **how):
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", **how) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return target.getvalue()


def saved(folder, raw):
    path = folder / "cake.zip"
    path.write_bytes(raw)
    return path


def test_a_bundle_without_a_customers_drawing_loads_with_all_the_rest(tmp_path):
    inside = tmp_path / "in"
    inside.mkdir()
    raw = zipped({"cake/design.toml": TOML, "cake/leaf.svg": SQUARE, "cake/other.txt": b"x"})
    design, notes = read_bundle(saved(tmp_path, raw), inside)
    assert [layer.pattern for layer in design.relief.layers] == [str(inside / "leaf.svg")]
    assert design.share.customers_files == ()
    assert str(notes[0]) == "Shared by The orchard; licence: CC-BY-4.0"
    assert str(notes[1]).startswith("The bundle leaves out crest.svg; all the rest is loaded. Ask")
    assert [path.name for path in inside.iterdir()] == ["leaf.svg"]


@pytest.mark.parametrize("name", ["../../leaf.svg", "/etc/leaf.svg", "C:\\own\\leaf.svg"])
def test_nothing_is_written_where_the_zip_says(tmp_path, name):
    inside = tmp_path / "a" / "b"
    inside.mkdir(parents=True)
    read_bundle(saved(tmp_path, zipped({"design.toml": TOML, name: SQUARE})), inside)
    every = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*.svg")}
    assert every == {"a/b/leaf.svg"}


@pytest.mark.parametrize(
    ("raw", "match"),
    [
        (b"no zip", "cannot be unpacked"),
        (zipped({"a.svg": SQUARE}), "holds no design.toml"),
        (zipped({"design.toml": b"\xff\xfe"}), "not text in UTF-8"),
        (zipped({f"{n}.svg": b"" for n in range(MOST_ENTRIES + 1)}), "more than 1000 files"),
        (
            zipped({"design.toml": TOML, "leaf.svg": bytes(10_000_001)}, compression=8),
            "holds leaf.svg of more than 10 MB",
        ),
        (zipped({"design.toml": TOML}, compression=zipfile.ZIP_BZIP2), "packed in an unusual way"),
    ],
)
def test_what_is_no_bundle_is_one_sentence(raw, match):
    with pytest.raises(SpecError, match=match):
        parse_bundle(raw)


def test_a_damaged_bundle_is_refused_and_never_a_traceback(tmp_path):
    raw = zipped({"design.toml": TOML, "leaf.svg": SQUARE * 50}, compression=8)
    for place in range(0, len(raw), 3):
        broken = bytearray(raw)
        broken[place] ^= 0x55
        try:
            read_bundle(saved(tmp_path, bytes(broken)), tmp_path)
        except (FileError, SpecError):
            continue


def test_a_mark_that_names_no_file_is_refused():
    design = Design().with_values({"share.customers_files": ["crset.svg"]})
    with pytest.raises(SpecError, match="is no file of this design, so nothing would stay out"):
        without_customers(design)


@pytest.mark.parametrize(
    ("licence", "good"),
    [  # identifiers of the SPDX licence list
        ("CC-BY-4.0", True), ("0BSD", True), ("GPL-3.0+", True), ("ask me first", True),
        ("MIT OR CC0-1.0", True), ("CC_BY", False), ("MIT\n", False), (" ", False),
    ],
)  # fmt: skip
def test_a_licence_is_checked_for_its_form(licence, good):
    if good:
        assert Design().with_values({"share.licence": licence}).share.licence == licence
    else:
        with pytest.raises(SpecError, match=r"share\.licence"):
            Design().with_values({"share.licence": licence})


def test_what_is_shared_is_read_by_other_verbs_and_twice_the_same(tmp_path):
    (tmp_path / "own").mkdir()
    (tmp_path / "cakes").mkdir()
    (tmp_path / "cakes" / "crest.svg").write_bytes(SQUARE)
    (tmp_path / "own" / "leaf.svg").write_bytes(SQUARE)
    (tmp_path / "cakes" / "design.toml").write_bytes(TOML + b'[batch]\nrecipe = "mine.toml"\n')
    shared = ("share", "cakes/design.toml", "--out")
    code, out, _ = ran(*shared, "a.zip", folder=tmp_path)
    assert (code, ran(*shared, "b.zip", folder=tmp_path)[0]) == (0, 0)
    assert "for it is a customer's: crest.svg" in out
    assert "for recipes are not shared: mine.toml" in out
    raw = (tmp_path / "a.zip").read_bytes()
    assert raw == (tmp_path / "b.zip").read_bytes()
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        names = [name.rpartition("/")[2] for name in archive.namelist()]
        text = archive.read(archive.namelist()[0]).decode()
    assert names == ["design.toml", "artwork-leaf.svg", "thumbnail.png"]
    assert "artwork-crest.svg" in text  # so that whoever has it lays it beside
    code, out, err = ran("portion", "a.zip", folder=tmp_path)
    assert (code, "leaves out artwork-crest.svg" in " ".join(err.split())) == (0, True)
    code, _, err = ran("share", "a.zip", "--out", "c.zip", "--licence", "CC0_1", folder=tmp_path)
    assert (code, "must be an SPDX identifier" in err) == (2, True)


def test_a_bundle_needs_an_author_and_a_licence(tmp_path):
    assert "--author NAME" in ran("share", folder=tmp_path)[2]
    assert "--licence CC-BY-4.0" in ran("share", "--author", "me", folder=tmp_path)[2]
    assert not list(tmp_path.iterdir())


def test_the_same_files_are_the_same_zip():
    assert zip_bytes({"a": b"1"}, "x") == zip_bytes({"a": b"1"}, "x")


@pytest.mark.parametrize("start", [b"\x89PNG\r\n\x1a\n", b"II*\x00"])  # PNG and TIFF
def test_the_page_takes_the_carving_of_a_packed_set(tmp_path, start):
    design = b'[[face.carvings]]\nfile = "quince.png"\n'
    raw = zipped({"set/design.toml": design, "set/quince.png": start + b"rest"})
    text, names, _ = read_set(raw, UploadStore(tmp_path))
    assert text == design.decode()
    assert (tmp_path / names["quince.png"]).read_bytes() == start + b"rest"
