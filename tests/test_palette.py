"""The program's colours are told apart, also by those who see fewer of them."""

import itertools
from importlib import resources

import numpy as np
import pytest
from PIL import Image, ImageCms, ImageColor

from gougeform.present.palette import COLOURS, PAPER, of_grind, words

LEAST = 20.0
"""Issue 16, part 4: ΔE between any two meanings."""
TO_LMS = np.array([[17.8824, 43.5161, 4.11935], [3.45565, 27.1554, 3.86714], [0.0299566, 0.184309, 1.46709]])
"""Linear RGB to cones, and two reductions: Viénot, Brettel and Mollon, Color Res. Appl. 24 (1999) 243; from memory."""
SEES = {
    "everybody": np.eye(3),
    "protanopes": np.array([[0, 2.02344, -2.52581], [0, 1, 0], [0, 0, 1]]),
    "deuteranopes": np.array([[1, 0, 0], [0.494207, 0, 1.24827], [0, 0, 1]]),
}


def seen_by(rgb, who):
    """(n, 3) colours 0 … 255 as those people see them."""
    part = rgb / 255
    linear = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
    out = np.clip(linear @ (np.linalg.inv(TO_LMS) @ SEES[who] @ TO_LMS).T, 0, 1)
    return 255 * np.where(out <= 0.0031308, 12.92 * out, 1.055 * out ** (1 / 2.4) - 0.055)


def lab(rgb):
    """(n, 3): CIE L*a*b* by Little CMS, as Pillow packs it."""
    image = Image.fromarray(np.round(rgb).astype(np.uint8)[None])
    to = ImageCms.buildTransform(ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB"), "RGB", "LAB")
    made = np.asarray(ImageCms.applyTransform(image, to))[0]
    return np.column_stack([made[:, 0] / 2.55, made[:, 1:].astype(np.int8).astype(float)])


@pytest.mark.parametrize("who", SEES)
def test_any_two_colours_are_told_apart(who):
    names = [*COLOURS, "paper"]
    seen = lab(seen_by(np.array([ImageColor.getrgb(one) for one in [*COLOURS.values(), PAPER]], float), who))
    close = [
        (round(float(np.linalg.norm(seen[i] - seen[j])), 1), names[i], names[j])
        for i, j in itertools.combinations(range(len(names)), 2)
    ]
    assert [one for one in sorted(close) if one[0] < LEAST] == []


def test_little_cms_knows_white_and_grey():
    """White is (100, 0, 0) and sRGB 119 is L* 50 by definition (CIE 15)."""
    np.testing.assert_allclose(lab(np.array([[255.0] * 3, [119.0] * 3])), [[100, 0, 0], [50, 0, 0]], atol=0.6)


def test_grinds_keep_their_colours_and_short_names():
    assert [of_grind(k) for k in range(5)] == ["first bevel", "relief 1", "relief 2", "relief 3", "relief 1"]
    assert words(["steel", "first bevel"]) == ["steel", "bevel"]
    assert words(["first bevel", "relief 1"]) == ["first bevel", "relief"]
    assert words(["first bevel", "relief 1", "relief 2"]) == ["first bevel", "relief 1", "relief 2"]


def test_the_page_has_the_same_colours_by_day():
    text = resources.files("gougeform.workbench").joinpath("page/style.css").read_text(encoding="utf-8")
    day = text.split("}")[0]
    named = {f"grind-{k}": of_grind(k) for k in range(4)} | {"flute": "flute", "bar": "steel"}
    for name, meaning in named.items():
        assert f"--{name}: {COLOURS[meaning]};" in day
