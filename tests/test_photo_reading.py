"""Photographs read from files: known colours, turns, sizes, and files that are no photograph.

Colours against colour-science; orientation against EXIF 2.3, tag 274, by hand. The colour profiles
are written here, byte by byte (ICC.1:2010), not by the library that reads them.
"""

import contextlib
import os
import struct
import warnings
import zlib
from datetime import date
from hashlib import sha256
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from meltwick.errors import FileError, MeltwickError
from meltwick.photo import read_photo
from meltwick.photo import reading as reading_module

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns when plotting libraries are missing
    import colour

PATCHES = np.array(
    [
        [[115, 82, 68], [194, 150, 130], [98, 122, 157], [87, 108, 67]],
        [[133, 128, 177], [103, 189, 170], [214, 126, 44], [80, 91, 166]],
        [[193, 90, 99], [94, 60, 108], [157, 188, 64], [224, 163, 46]],
    ],
    dtype=np.uint8,
)  # sRGB of a colour chart's first patches, from memory; any colours would do


def patches(size: int = 40) -> np.ndarray:
    """The patches as squares, 120 x 160 px."""
    return np.repeat(np.repeat(PATCHES, size, axis=0), size, axis=1)


def middle(linear: np.ndarray, size: float = 40) -> np.ndarray:
    """What the middle of every square was read as, encoded sRGB in 0..255."""
    rows = ((np.arange(3) + 0.5) * size).astype(int)
    columns = ((np.arange(4) + 0.5) * size).astype(int)
    return 255 * colour.models.eotf_inverse_sRGB(linear[np.ix_(rows, columns)].astype(float))


def written(tmp_path: Path, name: str, image: Image.Image, **how) -> Path:
    path = tmp_path / name
    image.save(path, **how)
    return path


# ------------------------------------------------------------------------- formats


@pytest.mark.parametrize(
    ("name", "how", "within"),
    [
        ("a.png", {}, 0.01),
        ("a.tif", {}, 0.01),
        ("a.tiff", {"compression": "tiff_lzw"}, 0.01),
        ("a.webp", {"lossless": True}, 0.01),
        ("a.jpg", {"quality": 95, "subsampling": 0}, 3.0),
    ],
)
def test_every_format_gives_the_colours_that_went_in(tmp_path, name, how, within):
    path = written(tmp_path, name, Image.fromarray(patches()), **how)
    photo = read_photo(path)
    assert photo.linear.dtype == np.float32
    assert photo.linear.shape == (120, 160, 3)
    assert photo.full == (120, 160)
    assert photo.name == name
    assert photo.digest == sha256(path.read_bytes()).hexdigest()
    assert np.abs(middle(photo.linear) - PATCHES).max() <= within
    assert photo.transparent is None
    assert photo.taken is None
    assert photo.notes == ("It has no colour profile; sRGB is assumed.",)


def test_sixteen_bits(tmp_path):
    deep = patches().astype(np.uint16) * 257
    tifffile.imwrite(tmp_path / "deep.tif", deep, photometric="rgb")
    assert np.abs(middle(read_photo(tmp_path / "deep.tif").linear) - PATCHES).max() <= 0.01
    grey = np.full((80, 90), 30000, np.uint16)
    for order in "<>":
        path = tmp_path / "grey.tif"
        tifffile.imwrite(path, grey.astype(f"{order}u2"), byteorder=order)
        photo = read_photo(path)
        wanted = colour.models.eotf_sRGB(30000 / 65535)
        np.testing.assert_allclose(photo.linear, wanted, rtol=1e-5)
        assert any(note.startswith("It is grey") for note in photo.notes)
        assert not photo.clipped.any()


def test_heic(tmp_path):
    heif = pytest.importorskip("pillow_heif")
    path = tmp_path / "a.heic"
    heif.from_pillow(Image.fromarray(patches())).save(path, quality=95, chroma=444)
    photo = read_photo(path)
    assert photo.full == (120, 160)
    assert np.abs(middle(photo.linear) - PATCHES).max() <= 6
    path.write_bytes(path.read_bytes()[:600])
    with pytest.raises(FileError, match=r"HEIC|cut short"):
        read_photo(path)


def test_heic_without_the_extra_says_what_to_install(tmp_path, monkeypatch):
    path = tmp_path / "a.heic"
    path.write_bytes(b"\0\0\0\x18ftypheic" + b"\0" * 400)
    monkeypatch.setitem(__import__("sys").modules, "pillow_heif", None)
    with pytest.raises(FileError, match=r"pip install 'meltwick\[photo\]'"):
        read_photo(path)


# ------------------------------------------------------------------------- profiles


def matrix_profile(primaries: np.ndarray, gamma: float) -> bytes:
    """An ICC version 2 display profile: primaries (columns, XYZ under D50) and one power."""

    def fixed(value: float) -> bytes:
        return struct.pack(">i", round(value * 65536))

    def xyz(column) -> bytes:
        return b"XYZ \0\0\0\0" + b"".join(fixed(v) for v in column)

    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256)) + b"\0\0"
    text = b"desc\0\0\0\0" + struct.pack(">I", 5) + b"made\0" + b"\0" * 79
    tags = {
        b"desc": text,
        b"cprt": b"text\0\0\0\0none\0\0\0\0",
        b"wtpt": xyz((0.9642, 1.0, 0.8249)),
        b"rXYZ": xyz(primaries[:, 0]),
        b"gXYZ": xyz(primaries[:, 1]),
        b"bXYZ": xyz(primaries[:, 2]),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    table, body = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for name, content in tags.items():
        content += b"\0" * (-len(content) % 4)
        table += name + struct.pack(">II", start + len(body), len(content))
        body += content
    head = struct.pack(">I", start + len(body)) + b"none" + bytes.fromhex("02100000")
    head += b"mntrRGB XYZ " + b"\0" * 12 + b"acsp" + b"\0" * 28
    head += b"".join(fixed(v) for v in (0.9642, 1.0, 0.8249)) + b"\0" * 48
    assert len(head) == 128
    return head + table + body


WIDE = {"Display P3": ("P3-D65", 2.2), "Adobe RGB (1998)": ("Adobe RGB (1998)", 2.19921875)}


@pytest.mark.parametrize("space", WIDE)
@pytest.mark.parametrize("name", ["a.png", "a.tif", "a.jpg"])
def test_wide_gamut_files_go_through_their_profile(tmp_path, space, name):
    gamma = WIDE[space][1]
    wide = colour.RGB_COLOURSPACES[space]
    light = colour.models.eotf_sRGB(patches() / 255.0)
    xyz = light @ colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ.T
    own = np.clip(xyz @ np.linalg.inv(wide.matrix_RGB_to_XYZ).T, 0, 1) ** (1 / gamma)
    image = Image.fromarray(np.round(255 * own).astype(np.uint8))
    d50 = np.array([0.9642, 1.0, 0.8249])
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        np.array([0.95047, 1.0, 1.08883]), d50, "Bradford"
    )
    profile = matrix_profile(adapt @ wide.matrix_RGB_to_XYZ, gamma)
    how = {"quality": 97, "subsampling": 0} if name.endswith("jpg") else {}
    plain = read_photo(written(tmp_path, f"x{name}", image, **how))
    photo = read_photo(written(tmp_path, name, image, icc_profile=profile, **how))
    assert np.abs(middle(photo.linear) - PATCHES).max() <= (4 if how else 2.0)
    assert np.abs(middle(plain.linear) - PATCHES).max() > 8  # the profile mattered
    assert photo.notes == ()


def test_colours_beyond_srgb_are_noted_not_passed_over(tmp_path):
    wide = colour.RGB_COLOURSPACES["Display P3"]
    profile = matrix_profile(
        colour.adaptation.matrix_chromatic_adaptation_VonKries(
            np.array([0.95047, 1.0, 1.08883]), np.array([0.9642, 1.0, 0.8249]), "Bradford"
        )
        @ wide.matrix_RGB_to_XYZ,
        2.2,
    )
    picture = np.full((100, 100, 3), 128, np.uint8)
    picture[:25] = (250, 20, 30)  # a red outside sRGB
    photo = read_photo(written(tmp_path, "p3.png", Image.fromarray(picture), icc_profile=profile))
    assert photo.notes == ("25.0 % of it is more vivid than sRGB holds, and was cut to it.",)
    assert photo.clipped[:25].all()
    assert not photo.clipped[25:].any()


def test_adobe_rgb_by_exif_alone(tmp_path):
    exif = Image.Exif()
    exif[0x8769] = {0xA001: 0xFFFF, 0xA005: {1: "R03"}}
    wide = colour.RGB_COLOURSPACES["Adobe RGB (1998)"]
    light = colour.models.eotf_sRGB(patches() / 255.0)
    xyz = light @ colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ.T
    own = np.clip(xyz @ np.linalg.inv(wide.matrix_RGB_to_XYZ).T, 0, 1) ** (256 / 563)
    image = Image.fromarray(np.round(255 * own).astype(np.uint8))
    photo = read_photo(written(tmp_path, "a.png", image, exif=exif))
    assert np.abs(middle(photo.linear) - PATCHES).max() <= 2.0
    assert "Adobe RGB" in photo.notes[0]


def test_a_profile_that_cannot_be_read_is_told(tmp_path):
    image = Image.fromarray(patches())
    for profile in (b"no profile at all", matrix_profile(np.eye(3), 2.2)[:90]):
        photo = read_photo(written(tmp_path, "a.png", image, icc_profile=profile))
        assert photo.notes == ("Its colour profile cannot be read; sRGB is assumed.",)
        assert np.abs(middle(photo.linear) - PATCHES).max() <= 0.01


def test_printing_inks(tmp_path):
    path = written(tmp_path, "a.jpg", Image.fromarray(patches()).convert("CMYK"))
    with pytest.raises(FileError, match=r"a\.jpg is in printing inks \(CMYK\) without a profile"):
        read_photo(path)


# ------------------------------------------------------------------------- grey, clear, many


def test_grey_is_read_and_told(tmp_path):
    ramp = np.tile(np.arange(100, 228, dtype=np.uint8), (80, 1))
    for image in (Image.fromarray(ramp), Image.fromarray(np.repeat(ramp[..., None], 3, 2))):
        photo = read_photo(written(tmp_path, "g.png", image))
        assert photo.linear.shape == (80, 128, 3)
        assert photo.notes[-1] == "It is grey: colours cannot be told, only light and dark."
        np.testing.assert_allclose(
            photo.linear[..., 1], colour.models.eotf_sRGB(ramp / 255.0), atol=1e-6
        )


def test_transparent_parts_are_no_photograph(tmp_path):
    picture = np.dstack([patches(), np.full((120, 160), 255, np.uint8)])
    picture[:30, :, 3] = 0
    photo = read_photo(written(tmp_path, "t.png", Image.fromarray(picture)))
    assert photo.transparent is not None
    assert photo.transparent[:30].all()
    assert not photo.transparent[30:].any()
    assert photo.notes[-1] == "25.0 % of it is transparent and counts as no photograph."
    small = read_photo(tmp_path / "t.png", most=300)  # 8 px squares: rows 24 to 31 are half clear
    below = small.linear[3, 2]
    np.testing.assert_allclose(below, photo.linear[31, 20], rtol=1e-5)  # what was clear weighs not
    picture[..., 3] = 0
    with pytest.raises(FileError, match="transparent all over"):
        read_photo(written(tmp_path, "n.png", Image.fromarray(picture)))
    picture[..., 3] = 255
    assert read_photo(written(tmp_path, "o.png", Image.fromarray(picture))).transparent is None


@pytest.mark.parametrize("name", ["many.png", "many.webp", "many.tif"])
def test_of_many_pictures_the_first_is_read(tmp_path, name):
    first, second = Image.fromarray(patches()), Image.new("RGB", (160, 120), "red")
    how = {"lossless": True} if name.endswith("webp") else {}
    path = written(tmp_path, name, first, save_all=True, append_images=[second], **how)
    photo = read_photo(path)
    assert np.abs(middle(photo.linear) - PATCHES).max() <= 0.01
    assert "It holds 2 pictures; only the first is read." in photo.notes


# ------------------------------------------------------------------------- turns, sizes, dates

# where row 0 and column 0 of the file belong in the scene (EXIF 2.3, tag 274)
SCENES = {
    1: lambda a: a,
    2: lambda a: np.fliplr(a),
    3: lambda a: np.rot90(a, 2),
    4: lambda a: np.flipud(a),
    5: lambda a: np.transpose(a, (1, 0, 2)),
    6: lambda a: np.rot90(a, 1),  # the camera was turned: the file lies on its left side
    7: lambda a: np.rot90(np.transpose(a, (1, 0, 2)), 2),
    8: lambda a: np.rot90(a, -1),
}


@pytest.mark.parametrize("turn", SCENES)
@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.tif", "a.webp"])
def test_every_orientation_comes_upright(tmp_path, turn, name):
    exif = Image.Exif()
    exif[0x0112] = turn
    lying = Image.fromarray(np.ascontiguousarray(SCENES[turn](patches())))
    how = {"lossless": True} if name.endswith("webp") else {}
    photo = read_photo(written(tmp_path, name, lying, exif=exif, **how))
    assert photo.full == (120, 160)
    assert photo.linear.shape == (120, 160, 3)
    assert photo.clipped.shape == (120, 160)
    assert np.abs(middle(photo.linear) - PATCHES).max() <= 8


def test_an_orientation_out_of_range_is_none(tmp_path):
    exif = Image.Exif()
    exif[0x0112] = 77
    photo = read_photo(written(tmp_path, "a.png", Image.fromarray(patches()), exif=exif))
    assert photo.full == (120, 160)


@pytest.mark.parametrize("most", [19200, 19199, 5000, 300, 1])
def test_light_is_averaged_not_numbers(tmp_path, most):
    """A fine black and white grid is half as light as white: 188 in sRGB, not 128."""
    grid = np.zeros((120, 160, 3), np.uint8)
    grid[(np.indices((120, 160)).sum(axis=0) % 2) == 0] = 250
    photo = read_photo(written(tmp_path, "grid.png", Image.fromarray(grid)), most=most)
    assert photo.linear.shape[0] * photo.linear.shape[1] <= most
    assert photo.full == (120, 160)
    white = colour.models.eotf_sRGB(250 / 255)
    if most == 5000:  # squares of an even side
        np.testing.assert_allclose(photo.linear, white / 2, rtol=1e-5)
    assert photo.linear.mean() == pytest.approx(white / 2, rel=0.01)


def test_strips_leave_no_mark(tmp_path, monkeypatch):
    rng = np.random.default_rng(5)
    noise = rng.integers(0, 256, (173, 211, 3), dtype=np.uint8)
    path = written(tmp_path, "n.png", Image.fromarray(noise))
    whole = read_photo(path, most=5000)
    monkeypatch.setattr(reading_module, "_STRIP", 2000)
    cut = read_photo(path, most=5000)
    np.testing.assert_allclose(whole.linear, cut.linear, rtol=1e-5)
    assert np.array_equal(whole.clipped, cut.clipped)


def test_one_clipped_point_is_not_lost_in_the_average(tmp_path):
    picture = np.full((120, 160, 3), 90, np.uint8)
    picture[50, 70, 1] = 255
    photo = read_photo(written(tmp_path, "c.png", Image.fromarray(picture)), most=1300)
    assert photo.clipped.sum() == 1
    assert photo.clipped[50 // 4, 70 // 4]


def test_a_very_large_jpeg_is_unpacked_smaller(tmp_path):
    picture = Image.fromarray(patches()).resize((9200, 6900), Image.Resampling.NEAREST)
    photo = read_photo(written(tmp_path, "huge.jpg", picture, quality=90), most=300_000)
    assert photo.full == (6900, 9200)
    assert photo.linear.shape[0] * photo.linear.shape[1] <= 300_000
    assert np.abs(middle(photo.linear, photo.linear.shape[0] / 3) - PATCHES).max() <= 3
    assert any("very large" in note for note in photo.notes)


@pytest.mark.parametrize(
    ("said", "wanted"),
    [
        ("2026:03:14 10:00:00", date(2026, 3, 14)),
        ("0000:00:00 00:00:00", None),
        ("2026:13:44", None),
        ("1980:01:01 00:00:00", None),
        ("yesterday", None),
    ],
)
def test_the_day_it_was_taken(tmp_path, said, wanted):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = said
    photo = read_photo(written(tmp_path, "a.jpg", Image.fromarray(patches()), exif=exif))
    assert photo.taken == wanted


# ------------------------------------------------------------------------- no photograph


def png_bytes(width: int, height: int, extra: bytes = b"", body: bytes = b"") -> bytes:
    """A PNG written by hand (W3C PNG, second edition)."""

    def chunk(name: bytes, content: bytes) -> bytes:
        crc = zlib.crc32(name + content)
        return struct.pack(">I", len(content)) + name + content + struct.pack(">I", crc)

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + extra + chunk(b"IDAT", body) + chunk(b"IEND", b"")


def ztxt(size: int) -> bytes:
    content = b"Comment\0\0" + zlib.compress(b"a" * size, 9)
    crc = zlib.crc32(b"zTXt" + content)
    return struct.pack(">I", len(content)) + b"zTXt" + content + struct.pack(">I", crc)


GOOD = zlib.compress((b"\0" + b"\x50\x60\x70" * 80) * 80)

BAD = {
    "empty.jpg": (b"", "is empty"),
    "text.jpg": (b"Dear diary, today I dyed a shirt.\n", r"text\.jpg is text"),
    "page.png": (b"<!DOCTYPE html><html></html>", "is a web page"),
    "drawing.png": (b'<svg xmlns="http://www.w3.org/2000/svg"/>', r"is a drawing \(SVG\)"),
    "doc.jpeg": (b"%PDF-1.7\n" + b"\0" * 100, "is a PDF page"),
    "old.gif": (b"GIF89a" + b"\0" * 100, "is a GIF"),
    "raw.dng": (b"II*\0" + b"\0" * 100, "raw file"),
    "raw.tif": (b"II*\0\x10\0\0\0CR\x02\0" + b"\0" * 100, "raw file"),
    "noise.png": (bytes(range(1, 256)) * 9, "is no picture that is known here"),
    "script.jpg": (b"%!PS-Adobe-3.0 EPSF-3.0\n(x) run\n", "is text"),
    "bomb.png": (png_bytes(60000, 60000, body=GOOD), "60000 x 60000 pixels, over 210 million"),
    "thin.png": (png_bytes(4000, 20, body=GOOD), "short side needs 64"),
    "strip.png": (png_bytes(80, 2_000_000, body=GOOD), "80 x 2000000 pixels, a strip"),
    "words.png": (png_bytes(80, 80, ztxt(80_000_000), GOOD), "cannot be read as PNG|cut short"),
    "half.png": (png_bytes(80, 80, body=GOOD[: len(GOOD) // 2]), "cut short|damaged"),
    "crc.png": (png_bytes(80, 80, body=GOOD).replace(b"IHDR\0", b"IHDR\1", 1), "damaged|pixels"),
    "film.heic": (b"\0\0\0\x18ftypisom" + b"\0" * 90, "film"),
    "bad.tif": (b"II*\0\xff\xff\xff\xff" + b"\0" * 60, "TIFF|cut short"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_is_no_photograph_is_refused_in_a_line(tmp_path, name, capfd):
    content, said = BAD[name]
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(FileError, match=said) as caught:
        read_photo(path)
    text = str(caught.value)
    assert name in text
    assert "\n" not in text
    assert len(text) < 300
    assert capfd.readouterr().err == ""  # no library speaks in between


def test_folders_and_missing_files(tmp_path):
    with pytest.raises(FileError, match="is a folder"):
        read_photo(tmp_path)
    with pytest.raises(FileError, match="does not exist"):
        read_photo(tmp_path / "nothing.jpg")
    with pytest.raises(FileError, match=r"cannot be read|does not exist"):
        read_photo(tmp_path / ("x" * 4000))
    with pytest.raises(FileError, match=r"cannot be read|does not exist"):
        read_photo(Path("a\0b.jpg"))
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.jpg")
        with pytest.raises(FileError, match="not an ordinary file"):
            read_photo(tmp_path / "pipe.jpg")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root reads all")
def test_a_file_we_may_not_read(tmp_path):
    path = written(tmp_path, "locked.png", Image.fromarray(patches()))
    path.chmod(0)
    with pytest.raises(FileError, match="cannot be read: permission denied"):
        read_photo(path)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_a_photograph_cut_short(tmp_path, kind):
    rng = np.random.default_rng(3)
    noise = Image.fromarray(rng.integers(0, 256, (200, 200, 3), dtype=np.uint8))
    data = BytesIO()
    noise.save(data, kind)
    whole = data.getvalue()
    for share in (0.1, 0.5, 0.9):
        path = tmp_path / "short"
        path.write_bytes(whole[: int(share * len(whole))])
        with pytest.raises(FileError, match=r"short is cut short|short is damaged"):
            read_photo(path)


def test_the_tiff_library_does_not_speak_beside_us(tmp_path, capfd):
    """It writes to standard error by itself, past Python."""
    whole = SAMPLES["TIFF"]
    for place in range(8, len(whole), 11):
        content = bytearray(whole)
        content[place] ^= 0xFF
        (tmp_path / "a.tif").write_bytes(content)
        with contextlib.suppress(FileError):
            read_photo(tmp_path / "a.tif")
    assert capfd.readouterr().err == ""
    os.write(2, b"heard again")
    assert capfd.readouterr().err == "heard again"


def test_other_modes(tmp_path):
    read_photo(written(tmp_path, "p.png", Image.fromarray(patches()).convert("P")))
    with pytest.raises(FileError, match="only black and white"):
        read_photo(written(tmp_path, "b.png", Image.fromarray(patches()).convert("1")))
    tifffile.imwrite(tmp_path / "f.tif", np.ones((80, 80), np.float32))
    with pytest.raises(FileError, match="in a way not read here"):
        read_photo(tmp_path / "f.tif")


def test_the_libraries_limit_is_left_as_it_was(tmp_path):
    before = Image.MAX_IMAGE_PIXELS
    read_photo(written(tmp_path, "a.png", Image.fromarray(patches())))
    assert before == Image.MAX_IMAGE_PIXELS


def samples() -> dict[str, bytes]:
    found = {}
    for kind, how in {
        "JPEG": {"quality": 80},
        "PNG": {},
        "TIFF": {"compression": "tiff_lzw"},
        "WEBP": {},
    }.items():
        exif = Image.Exif()
        exif[0x0112] = 6
        data = BytesIO()
        profile = matrix_profile(np.eye(3) * 0.9 + 0.03, 1.8)
        Image.fromarray(patches(20)).resize((80, 70)).save(
            data, kind, exif=exif, icc_profile=profile, **how
        )
        found[kind] = data.getvalue()
    return found


SAMPLES = samples()


@given(data=st.data())
@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_whatever_the_file_holds_the_answer_is_ours(tmp_path, data):
    """Random bytes, bits turned over, pieces cut out: a photograph or one line of ours."""
    whole = data.draw(st.sampled_from(sorted(SAMPLES)), label="kind")
    content = bytearray(SAMPLES[whole])
    for _ in range(data.draw(st.integers(0, 6), label="flips")):
        place = data.draw(st.integers(0, len(content) - 1))
        content[place] ^= 1 << data.draw(st.integers(0, 7))
    start = data.draw(st.integers(4, len(content)))
    gap = data.draw(st.sampled_from([0, 0, 1, 7, 100]))
    content[start : start + gap] = data.draw(st.binary(max_size=9))
    path = tmp_path / "any"
    path.write_bytes(content)
    try:
        photo = read_photo(path)
    except MeltwickError as error:
        said = str(error)
    else:
        said = ""
        assert np.isfinite(photo.linear).all()
        assert photo.linear.min() >= 0
        assert photo.linear.max() <= 1
        assert photo.clipped.shape == photo.linear.shape[:2]
    assert "\n" not in said
