"""The page to name places on: whole in one file, nothing from the network, safe with any name."""

import base64
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from bedwatch.show.by_hand_page import TONES, by_hand_page

JPEG = b"\xff\xd8\xff\xe0 not a real one \xff\xd9"
LINE = "bedwatch aim clip.mp4 --bed 'my bed.toml' --out a.toml"


def given(page):
    return json.loads(re.search(r'<script type="application/json" id="given">(.*?)</script>', page, re.DOTALL)[1])


def test_picture_size_line_and_places_known_already_are_in_it(round_bed):
    page = by_hand_page(round_bed(1, 6), JPEG, (640, 480), LINE, {"wall": [(1.5, 2.0)], "twelve": [(3.0, 4.0)]})
    found = given(page)
    assert found["size_px"] == [640, 480]
    assert found["line"] == LINE
    assert {step["option"]: step["given"] for step in found["steps"]} == {
        "wall": [[1.5, 2.0]],
        "rim": [],
        "twelve": [[3.0, 4.0]],
    }
    (picture,) = re.findall(r'src="data:image/jpeg;base64,([^"]+)"', page)
    assert base64.b64decode(picture) == JPEG
    assert "420 mm across, powder 80 mm below the rim" in page
    assert "Not a safety device" in page


def test_steps_follow_the_bed(round_bed, trough):
    def options(bed):
        return [step["option"] for step in given(by_hand_page(bed, JPEG, (64, 48), LINE))["steps"]]

    assert options(replace(round_bed(1, 6), surface_below_rim_mm=0.0)) == ["wall", "twelve"]
    assert options(trough(2, 3)) == ["corner", "rim-corner", "twelve"]
    assert options(replace(trough(2, 3), surface_below_rim_mm=0.0)) == ["corner", "twelve"]


def test_nothing_is_fetched_from_anywhere(round_bed):
    page = by_hand_page(round_bed(1, 6), JPEG, (640, 480), LINE)
    assert re.findall(r"(?:https?:)?//[a-z]", page.replace(base64.b64encode(JPEG).decode(), "")) == []
    assert "default-src 'none'" in page
    for word in ("@import", "fetch(", "XMLHttpRequest", "<link", "url("):
        assert word not in page


@pytest.mark.parametrize(
    "name", ["</script><script>alert(1)</script>", '"><img src=x onerror=y>', "$caution ${line}", "€ & <b>"]
)
def test_names_from_outside_are_only_words(round_bed, name):
    page = by_hand_page(round_bed(1, 6, name=name), JPEG, (640, 480), f"bedwatch aim '{name}'")
    assert given(page)["line"] == f"bedwatch aim '{name}'"
    seen: list[str] = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag, attrs):
            seen.append(tag)
            assert not any(key.startswith("on") for key, _ in attrs)

    Reader().feed(page)
    assert seen.count("script") == 2
    assert seen.count("img") == 1


def test_everything_the_script_looks_up_is_on_the_page(round_bed):
    page = by_hand_page(round_bed(1, 6), JPEG, (640, 480), LINE)
    wanted = set(re.findall(r'byId\("(\w+)"\)', page)) | set(re.findall(r'getElementById\("(\w+)"\)', page))
    assert wanted
    assert wanted <= set(re.findall(r'id="(\w+)"', page))


def test_the_tones_are_those_published():
    """Okabe & Ito 2008: yellow, orange, sky blue."""
    assert set(TONES.values()) == {"#f0e442", "#e69f00", "#56b4e9"}
