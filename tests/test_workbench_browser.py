"""The workbench in a real browser: Debian's chromium, headless, driven by playwright."""

import contextlib
import json
import os
import re
import shutil
import subprocess
import sys
import time
import tomllib
import zipfile
from pathlib import Path

import numpy as np
import pytest

import gougeform
from gougeform.recipe.reading import from_table, load

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (pip install .[test])")
CHROMIUM = next(
    (path for path in ("/usr/bin/chromium", shutil.which("chromium")) if path and Path(path).exists()), None
)
pytestmark = [
    pytest.mark.skipif(CHROMIUM is None, reason="there is no chromium (Debian: apt install chromium)"),
]

A, B = "baluster-square-10-relief-foot", "finial-round-10-fingernail-foot"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
READY = "body[data-ready][data-head-a][data-head-b]"


@pytest.fixture(scope="module")
def served():
    environment = os.environ | {"PYTHONPATH": str(Path(gougeform.__file__).parents[1])}
    began = time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-m", "gougeform.command", "workbench", A, B, "--port", "0", "--no-browser"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment,
    )  # fmt: skip
    address = re.search(r"http://\S+/", process.stdout.readline())[0]
    yield address, began
    process.terminate()
    out, err = process.communicate(timeout=20)
    assert process.returncode == 0
    faults = [line for line in err.splitlines() if not line.endswith("…")]  # a busy machine is told what it does
    assert faults == [], "the server met no fault in all these tests"
    assert "closed" in out


@pytest.fixture(scope="module")
def browser():
    with playwright.sync_playwright() as tool:
        one = tool.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield one
        one.close()


NUMBER = "Number(document.querySelector('#numbers [data-number=\"{0}\"][data-of={1}]').dataset.value || NaN)"
MOVE = """([id, value]) => {
  const range = document.getElementById(id);
  range.focus();
  range.value = value;
  range.dispatchEvent(new Event('input', {bubbles: true}));
}"""
NAMELESS = """() => [...document.querySelectorAll('input, select, button')]
  .filter((e) => e.checkVisibility())
  .filter((e) => !(e.getAttribute('aria-label') || e.labels?.length || e.tagName === 'BUTTON' && e.textContent.trim()))
  .map((e) => e.outerHTML)"""


def until(page, holds, timeout=15000):
    """Ask again and again: the page's own rules forbid playwright to put a waiting script into it."""
    end = time.monotonic() + timeout / 1000
    while not page.evaluate(holds):
        assert time.monotonic() < end, f"never came true: {holds}"
        page.wait_for_timeout(30)


class Watched:
    """A page, with everything it asked for and complained of."""

    def __init__(self, browser, address, **options):
        self.context = browser.new_context(
            **{"viewport": {"width": 1280, "height": 800}, "accept_downloads": True} | options
        )
        self.page = self.context.new_page()
        self.asked, self.wrong = [], []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("pageerror", lambda error: self.wrong.append(str(error)))
        # What the server refuses is part of the work; the browser writes it down as an error all the same.
        self.page.on(
            "console",
            lambda m: self.wrong.append(m.text) if m.type == "error" and "status of 400" not in m.text else None,
        )
        self.address = address
        self.open(address)

    def open(self, address):
        self.page.goto(address)
        self.page.wait_for_selector(READY, timeout=20000)

    def number(self, name, of="a"):
        text = self.page.get_attribute(f'#numbers [data-number="{name}"][data-of="{of}"]', "data-value")
        return float(text) if text else None

    def settled(self, holds, timeout=15000):
        """Wait until a script holds."""
        until(self.page, holds, timeout)

    def is_(self, name, value, of="a"):
        """Wait until a number of the table has this value."""
        until(self.page, f"Math.abs({NUMBER.format(name, of)} - {value}) < 1e-6")

    def late(self):
        self.page.wait_for_selector(
            '#numbers [data-number="steel_removed_g"][data-of="b"][data-value]:not([data-value=""]):not(.waiting)'
        )
        self.page.wait_for_selector(
            '#numbers [data-number="steel_removed_g"][data-of="a"][data-value]:not([data-value=""]):not(.waiting)'
        )

    def table(self, which):
        return self.page.evaluate("(w) => JSON.parse(sessionStorage.getItem('gougeform-bench'))[w]", which)

    def slide(self, field, value):
        """Move a slider the way a hand does: input events on the range."""
        self.page.evaluate(MOVE, [f"{field}-slide", value])

    def type(self, field, text):
        self.page.fill(f'[id="{field}"]', text)
        self.page.press(f'[id="{field}"]', "Enter")

    def close(self):
        assert self.wrong == []
        outside = [url for url in self.asked if not url.startswith((self.address, "data:", "blob:" + self.address))]
        assert outside == [], "the page asked somebody else"
        self.context.close()


@pytest.fixture
def bench(served, browser):
    one = Watched(browser, served[0])
    yield one
    one.close()


def command_line(tmp_path, *changes):
    """The command line's own numbers for recipe A with lines of TOML changed."""
    from gougeform.recipe.change import changed
    from gougeform.recipe.write import to_toml

    path = tmp_path / "own.toml"
    path.write_text(to_toml(changed(load(A), dict(changes))))
    done = subprocess.run(
        [sys.executable, "-m", "gougeform.command", "grind", str(path), "--json", "--no-picture", "-o", str(tmp_path)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return json.loads(done.stdout)


def flat(table, before=""):
    for name, value in table.items():
        if isinstance(value, dict):
            yield from flat(value, f"{before}{name}.")
        elif isinstance(value, int | float):
            yield f"{before}{name}", float(value)


def test_it_starts_within_five_seconds(served, browser):
    # Machines that run other work at the same time are given twice that, and more the more there is.
    busy = max(1.0, os.getloadavg()[0] / (os.cpu_count() or 1))
    address, began = served
    one = Watched(browser, address)
    assert time.monotonic() - began < 10 * busy
    one.close()


def test_a_moved_slider_gives_the_numbers_of_the_command_line(bench, tmp_path):
    before = bench.page.get_attribute("body", "data-head-a")
    bench.slide("a-jig.projection_mm", 72.5)
    bench.settled(f"document.body.dataset.headA !== '{before}'")
    assert bench.page.input_value('[id="a-jig.projection_mm"]') == "72.5", "the typed value is in step"
    bench.late()
    expected = dict(flat(command_line(tmp_path, ("jig.projection_mm", 72.5))))
    seen = 0
    for name, value in expected.items():
        if bench.page.query_selector(f'#numbers [data-number="{name}"]') is None:
            continue
        seen += 1
        assert bench.number(name) == value, name
        assert (
            bench.number(name, "d") == pytest.approx((bench.number(name, "b") or 0) - value, abs=1e-12)
            or name == "land_mm"
        )
    assert seen >= 18


def test_the_head_is_drawn_in_the_colours_of_its_grinds(bench, tmp_path):
    from PIL import Image

    path = tmp_path / "heads.png"
    bench.page.wait_for_timeout(300)
    bench.page.locator("#heads").screenshot(path=path)
    with Image.open(path) as image:
        r, g, b = np.asarray(image.convert("RGB"), int)[:, : image.width // 2].transpose(2, 0, 1)
    teal = int(((g > r + 40) & (np.abs(g - b) < 25)).sum())
    yellow = int(((r > g + 20) & (g > b + 60)).sum())
    blue = int(((b > r + 60) & (b > g + 25)).sum())
    assert teal > 800, "the relief of A"
    assert yellow > 200, "the first bevel of A"
    assert blue > 80, "the edge of A as a line"
    frames = int(bench.page.get_attribute("#heads", "data-frames"))
    bench.page.focus("#heads")
    bench.page.keyboard.press("ArrowLeft")
    bench.settled(f"Number(document.getElementById('heads').dataset.frames) > {frames}")


def test_a_bad_value_says_so_and_the_last_good_shape_stays(bench):
    nose, head = bench.number("nose_angle_deg"), bench.page.get_attribute("body", "data-head-a")
    bench.type("a-jig.projection_mm", "far")
    bench.page.wait_for_selector('[id="a-jig.projection_mm-bad"]:not([hidden])')
    words = bench.page.inner_text('[id="a-jig.projection_mm-bad"]')
    assert 'Given "far", allowed is a number above 0 and at most 1000 mm' in words
    assert bench.page.get_attribute('[id="a-jig.projection_mm"]', "aria-invalid") == "true"
    assert bench.number("nose_angle_deg") == nose
    assert bench.page.get_attribute("body", "data-head-a") == head
    assert "stale" in bench.page.get_attribute('#numbers [data-number="nose_angle_deg"][data-of="a"]', "class")
    bench.page.reload()
    bench.page.wait_for_selector(READY)
    assert bench.page.input_value('[id="a-jig.projection_mm"]') == "far", "the bad value survives a reload too"
    bench.type("a-jig.projection_mm", "70")
    bench.settled("document.getElementById('a-trouble').hidden")
    bench.type("a-grind.0.wing_length_mm", "90")
    bench.settled("!document.getElementById('a-trouble').hidden")
    bench.page.click("#a-back")
    bench.settled("document.getElementById('a-trouble').hidden")
    assert bench.page.input_value('[id="a-grind.0.wing_length_mm"]') == "10"


def test_solve_moves_the_settings_there(bench):
    bench.page.click("#tab-ask")
    bench.page.select_option("#ask-tool", "b")
    bench.page.fill("#solve-nose", "33")
    bench.page.fill("#solve-wing50", "50")
    bench.page.click("#solve-go")
    bench.page.wait_for_selector("#solve-exact-0", timeout=30000)
    # What a ruler can set is set first, and told first; exactly on demand.
    assert float(bench.page.get_attribute('[id="b-jig.projection_mm"]', "data-value")) % 0.5 == 0
    assert "by the ruler" in bench.page.inner_text("#solve-out")
    bench.page.click("#solve-exact-0")
    bench.is_("nose_angle_deg", 33, "b")
    assert bench.number("wing_angle_deg.50", "b") == pytest.approx(50, abs=1e-6)
    assert float(bench.page.get_attribute('[id="b-jig.projection_mm"]', "data-value")) > 80
    bench.page.fill("#solve-wing50", "89")
    bench.page.click("#solve-go")
    bench.settled("document.getElementById('solve-wing50-bad').textContent.includes('cannot be met')", 30000)
    bench.page.fill("#solve-nose", "x")
    bench.page.click("#solve-go")
    bench.settled("document.getElementById('solve-nose-bad').textContent.includes('allowed is a number')", 30000)


def test_a_transfer_is_told_as_the_command_tells_it(bench):
    bench.page.click("#tab-ask")
    bench.page.select_option("#transfer-wheel", "wheel-150")
    bench.page.click("#transfer-go")
    bench.page.wait_for_selector("#transfer-set", timeout=60_000)
    told = bench.page.inner_text("#transfer-out")
    for words in ("Settings there", "wheel's rim to pocket", "As the wheel wears", "largest difference along the edge"):
        assert words in told
    row = bench.page.locator("#transfer-out table.told").nth(1).locator("tbody tr").first
    assert row.inner_text().split() == ["nose", "35.000°", "35.000°"]
    bench.page.click("#transfer-set")
    bench.settled("""document.getElementById('a-wheel.diameter_mm')?.value === '150'""", 30000)


def test_copy_and_differences(bench):
    bench.page.click("#copy-ab")
    bench.is_("bevel_length_mm", 0, "d")
    bench.slide("b-grind.0.nose_angle_deg", 40)
    bench.is_("nose_angle_deg", 5, "d")
    assert bench.number("nose_angle_deg") == pytest.approx(35)


def test_reload_and_address_restore_the_bench(bench, served, browser):
    bench.slide("a-jig.projection_mm", 71)
    bench.page.click("#tab-section")
    bench.page.fill("#behind", "7.25")
    bench.page.press("#behind", "Enter")
    bench.settled(
        "location.hash.length > 100 && JSON.parse(sessionStorage.getItem('gougeform-bench')).view.section_mm === 7.25"
    )
    kept, nose = bench.page.evaluate("sessionStorage.getItem('gougeform-bench')"), bench.number("wing_angle_deg.75")
    bench.page.reload()
    bench.page.wait_for_selector(READY)
    assert json.loads(bench.page.evaluate("sessionStorage.getItem('gougeform-bench')")) == json.loads(kept)
    assert bench.number("wing_angle_deg.75") == nose
    assert bench.page.get_attribute("#tab-section", "aria-selected") == "true"
    other = Watched(browser, served[0])
    other.open(bench.page.url.replace("/#", "/?x#"))
    other.settled("document.getElementById('tab-section').getAttribute('aria-selected') === 'true'")
    assert other.number("wing_angle_deg.75") == nose
    assert other.page.input_value("#behind") == "7.25"
    other.close()


def test_a_damaged_address_says_so_and_shows_the_usual_bench(served, browser):
    one = Watched(browser, served[0] + "#broken")
    one.address = served[0]
    assert "address" in one.page.inner_text("#said")
    assert one.number("nose_angle_deg") == pytest.approx(35)
    one.close()


def test_two_tabs_have_a_bench_each(bench):
    second = bench.context.new_page()
    second.goto(bench.address)
    second.wait_for_selector(READY)
    bench.slide("a-grind.0.nose_angle_deg", 45)
    bench.is_("nose_angle_deg", 45, "a")
    second.evaluate(MOVE, ["b-grind.0.nose_angle_deg-slide", 30])
    until(second, f"Math.abs({NUMBER.format('nose_angle_deg', 'b')} - 30) < 1e-6")
    assert float(
        second.get_attribute('#numbers [data-number="nose_angle_deg"][data-of="a"]', "data-value")
    ) == pytest.approx(35)
    assert bench.number("nose_angle_deg", "b") == pytest.approx(35)
    # Each is still itself after a reload, though they share the browser's store.
    for page, expected in ((bench.page, (45, 35)), (second, (35, 30))):
        page.reload()
        page.wait_for_selector(READY)
        for of, value in zip("ab", expected, strict=True):
            assert float(
                page.get_attribute(f'#numbers [data-number="nose_angle_deg"][data-of="{of}"]', "data-value")
            ) == pytest.approx(value)


def test_every_file_can_be_had_and_read(bench, tmp_path):
    import trimesh

    bench.slide("b-jig.projection_mm", 66)
    bench.settled("JSON.parse(sessionStorage.getItem('gougeform-bench')).b.wanted.jig.projection_mm === 66")
    bench.page.click("#tab-keep")
    got = {}
    for button in ("recipe-b", "csv-b", "numbers-b", "stl-b", "3mf-b", "card-b", "gauges-b", "bench"):
        with bench.page.expect_download(timeout=60000) as waiting:
            bench.page.click(f"#get-{button}")
        download = waiting.value
        got[button] = tmp_path / download.suggested_filename
        download.save_as(got[button])
    own = from_table(tomllib.loads(got["recipe-b"].read_text()))
    assert own.jig.projection_mm == 66
    assert own.bar == load(B).bar
    rows = got["csv-b"].read_text().splitlines()
    assert len(rows) == 402
    numbers = json.loads(got["numbers-b"].read_text())
    assert numbers["nose_angle_deg"] == bench.number("nose_angle_deg", "b")
    assert trimesh.load_mesh(got["stl-b"]).is_watertight
    assert trimesh.load(got["3mf-b"], force="mesh").is_watertight
    assert got["card-b"].read_bytes().startswith(b"%PDF")
    with zipfile.ZipFile(got["gauges-b"]) as archive:
        assert archive.testzip() is None
        assert any(name.endswith(".stl") for name in archive.namelist())
    table = tomllib.loads(got["bench"].read_text())
    assert from_table(table["b"]) == own
    # Opened again: the recipe as A, then the whole bench.
    bench.page.set_input_files("#open-file", got["recipe-b"])
    bench.settled("JSON.parse(sessionStorage.getItem('gougeform-bench')).a.wanted.jig.projection_mm === 66")
    bench.page.set_input_files("#open-file", got["bench"])
    bench.settled("JSON.parse(sessionStorage.getItem('gougeform-bench')).a.wanted.jig.projection_mm === 75")
    bad = tmp_path / "bad.toml"
    bad.write_text('bar = "/etc/passwd.toml"\n')
    bench.page.set_input_files("#open-file", bad)
    bench.page.wait_for_selector(".answer.bad")
    assert "does not read other files" in bench.page.inner_text(".answer.bad")


def test_cautions_are_in_sight_and_strong_ones_stand_out(bench):
    assert bench.page.is_visible("#cautions p")
    bench.page.click("#cautions-open")
    assert bench.page.is_visible("#cautions-list li")
    assert bench.page.locator("#cautions-list li").count() >= 6
    bench.page.keyboard.press("Escape")
    bench.page.click('[id="a-wheel-open"]')
    bench.type("a-wheel.rpm", "3900")
    bench.page.wait_for_selector("footer.strong")
    assert "DO NOT GRIND LIKE THIS" in bench.page.inner_text("footer")


SIZES = {"wide": (1680, 1050), "desk": (1280, 800), "tablet": (1024, 768), "upright": (768, 1024), "narrow": (430, 900)}


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_every_size_and_theme_shows_all_sheets_without_sideways_scrolling(served, browser, size, theme):
    one = Watched(browser, served[0], viewport={"width": size[0], "height": size[1]}, color_scheme=theme)
    page = one.page
    assert page.evaluate("document.documentElement.dataset.theme") == theme
    for sheet in ("edge", "section", "grinder", "reach", "ask", "keep"):
        page.click(f"#tab-{sheet}")
        one.settled(f"document.getElementById('tab-{sheet}').getAttribute('aria-selected') === 'true'")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth + 1"), sheet
        assert page.is_visible("#cautions p")
        # Every control has a name that a screen reader can say.
        nameless = page.evaluate(NAMELESS)
        assert nameless == []
    one.close()


def test_all_can_be_done_with_the_keyboard(bench):
    page = bench.page
    page.focus('[id="a-grind.0.nose_angle_deg"]')
    page.keyboard.press("ArrowUp")
    bench.is_("nose_angle_deg", 35.1, "a")
    page.focus("#tab-edge")
    page.keyboard.press("ArrowRight")
    bench.settled("document.getElementById('tab-section').getAttribute('aria-selected') === 'true'")
    reached = set()
    page.focus("#copy-ab")
    for _ in range(140):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.id"))
    for name in (
        "theme",
        "a-recipe",
        "a-jig-open",
        "a-jig.projection_mm",
        "heads",
        "overlay",
        "tab-section",
        "behind",
        "b-jig.projection_mm",
        "cautions-open",
    ):
        assert name in reached, name


def test_reach_colours_a_workpiece(served, browser):
    one = Watched(browser, served[0] + "")
    page = one.page
    page.click("#copy-ab")
    page.click("#tab-reach")
    page.select_option("#work", "cylinder")
    page.click("#reach-go")
    page.wait_for_selector("body[data-reach=yes]", timeout=120000)
    # On a plain cylinder a fingernail edge rubs its bevel: every place is reached (common practice, no source).
    assert page.locator("path.reached").count() > 20
    assert page.locator("path.reach-none").count() == 0
    page.wait_for_selector("path.stand", state="attached", timeout=20000)
    assert "places reached" in page.inner_text("#sheet")
    one.close()


def test_many_turns_leave_no_fault_and_the_last_one_shows(bench):
    for i in range(60):
        bench.slide("a-jig.projection_mm", 60 + i / 2)
    bench.settled("Number(document.getElementById('a-jig.projection_mm').dataset.value) === 89.5")
    with contextlib.suppress(playwright.TimeoutError):
        bench.page.wait_for_load_state("networkidle", timeout=5000)
    bench.settled("JSON.parse(sessionStorage.getItem('gougeform-bench')).a.wanted.jig.projection_mm === 89.5")
    assert len([url for url in bench.asked if url.endswith("/do/turn")]) < 60, (
        "turns that were overtaken never went out"
    )


def test_the_colours_of_words_stand_out_from_their_ground():
    # WCAG 2.1, 1.4.3: 4.5 to 1 for text (formula of relative luminance from memory).
    css = (Path(gougeform.__file__).parent / "workbench" / "page" / "style.css").read_text()
    blocks = re.findall(r":root(?:\[data-theme=\"dark\"\])? \{(.*?)\}", css, re.S)[:2]

    def light(colour):
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    for block in blocks:
        tone = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", block))
        for ink, ground in (
            ("ink", "paper"),
            ("ink", "card"),
            ("ink", "sunk"),
            ("quiet", "card"),
            ("a", "card"),
            ("b", "card"),
            ("bad", "card"),
            ("bad", "bad-soft"),
            ("warn", "warn-soft"),
            ("ink", "bad-soft"),
        ):
            high, low = sorted((light(tone[ink]), light(tone[ground])), reverse=True)
            assert (high + 0.05) / (low + 0.05) >= 4.5, (ink, ground)
