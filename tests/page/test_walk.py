"""The whole way in a browser, from an empty folder to the report, on the demo car's photos; the figures are
the commands' own.

The desktop drops the photos and drags; the phone taps, and goes the same way through all that is there.
"""

import json
import re
import time

import numpy as np
import pytest
from click.testing import CliRunner

from photoangle.cli import main
from photoangle.output.answers_json import link_json
from photoangle.page.serve import Served
from tests.page.conftest import MUDDY, hub_corners, until


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """The page over an empty folder, which waits for a pause before it works."""
    page = Served(tmp_path_factory.mktemp("page") / "heron", 0, wait_s=1.0)
    page.start()
    yield page
    page.stop()


def _settled(page, served):
    """Wait until the page shows an answer to the folder as it is now."""
    end = time.time() + 120
    while not (served.work.fresh() and not served.work.jobs.state.running):
        assert time.time() < end, served.work.jobs.state
        page.wait_for_timeout(50)
    until(
        page,
        f"document.documentElement.dataset.running === 'false' && document.documentElement.dataset.answer"
        f" === '{served.work.answer.number}'",
    )


def _fits(page, width):
    """No sideways scroll, nothing to tap smaller than 44 px, no field without a name."""
    assert page.evaluate("document.documentElement.scrollWidth") <= width, page.url
    small = page.evaluate(
        """[...document.querySelectorAll('button, .button, nav a, input:not([type=file]):not([type=checkbox]), select, summary, .next a, .carplan a')]
        .filter(e => e.offsetParent && e.getBoundingClientRect().height < 44).map(e => e.outerHTML.slice(0, 80))"""
    )
    assert small == [], small
    nameless = page.evaluate(
        """[...document.querySelectorAll('input, select, button, a[href], img')].filter(e =>
        !(e.labels?.length || e.textContent.trim() || e.getAttribute('aria-label') || e.alt || e.querySelector('img[alt]'))).map(e => e.outerHTML.slice(0, 80))"""
    )
    assert nameless == [], nameless


class Walker:
    """A browser window let in to the page, with what it complained of."""

    def __init__(self, browser, served, width, scheme, **more):
        self.context = browser.new_context(viewport={"width": width, "height": 844},
                                           color_scheme=scheme,
                                           **more)
        self.page, self.trouble = self.context.new_page(), []
        self.page.on("console", lambda m: self.trouble.append(m.text))
        self.page.on("pageerror", lambda e: self.trouble.append(str(e)))
        self.served, self.width, self.at = served, width, f"http://127.0.0.1:{served.port}"
        self.page.goto(served.url())
        self.page.wait_for_url("**/")

    def go(self, path):
        self.page.goto(self.at + path)
        _fits(self.page, self.width)
        return self.page

    def read(self, path, text):
        """Type a reading and wait until it is taken (or not)."""
        field = self.page.locator(f'input[data-path="{path}"]')
        field.fill(text)
        field.press("Enter")
        out = field.locator("xpath=following-sibling::output")
        until(self.page,
              f"!!document.querySelector(`input[data-path='{path}']`).nextElementSibling.textContent")
        return out.text_content()

    def on_photo(self, fraction):
        """Screen px of a place in the photo, given in shares of its width and height."""
        box = self.page.locator("#photo").bounding_box()
        return box["x"] + fraction[0] * box["width"], box["y"] + fraction[1] * box["height"]

    def close(self):
        self.context.close()
        # the browser reports the refused reading, and nothing else
        assert [t for t in self.trouble if "422" not in t] == []


def test_the_way_through_at_desktop_and_phone_size(browser, served, half_size, samples):
    desktop = Walker(browser, served, 1280, "light")
    assert "Chock the wheels" in desktop.page.content()
    assert "Print the card" in desktop.page.locator("#next-words").text_content()
    _drop_photos(desktop, half_size)
    _put_right(desktop)

    phone = Walker(browser, served, 390, "dark", has_touch=True, is_mobile=True)
    _by_finger(phone, samples)
    phone.go("/photos/front-left/fitted")
    assert phone.read("front-left/tape/fitted/link_length", "4 7/8") == "✓ 123.8 mm"
    assert phone.read("front-left/tape/fitted/link_length", "124 mm") == "✓ 124.0 mm"
    for path in ("/", "/kit", "/lens", "/photos", "/tape", "/report"):
        phone.go(path)

    for walker in (desktop, phone):
        _settled(walker.page, served)
        _answers(walker)
    assert (served.work.root / "results" / "front-left" / "link-views.png").read_bytes()[:4] == b"\x89PNG"
    desktop.go("/report")
    answer = desktop.page.goto(f"{desktop.at}/report.html")
    assert answer.status == 200 and "Fitting card" in desktop.page.content()
    assert (served.work.root / "results" / "report.html").read_text() == answer.text()
    desktop.close()
    phone.close()
    _as_the_commands(served)


def _drop_photos(walker, half_size):
    """Lens, droop, ride, set, fitted: each photo tells at once what was found in it."""
    page, served = walker.page, walker.served
    (served.work.root / "car.toml").write_bytes((half_size / "car.toml").read_bytes())
    walker.go("/lens")
    page.set_input_files("input[multiple]", sorted((half_size / "lens").glob("*.jpg")))
    until(
        page,
        "document.querySelectorAll('#cover .dot').length > 300 && document.documentElement.dataset.waiting"
        " === '0'",
    )
    walker.go("/photos")
    page.locator(".carplan a").first.click()
    page.get_by_role("link", name="droop").first.click()
    for state, needed in (("droop", "markers, card"), ("ride", "markers"), ("set", "markers, card"),
                          ("fitted", "markers, card")):
        page.locator(".tabs a", has_text=re.compile(f"^{state}$")).click()
        page.wait_for_url(f"**/photos/front-left/{state}")
        photos = sorted((half_size / "front-left" / state).glob("*.jpg"))
        page.set_input_files("input[multiple]", photos)
        until(
            page,
            f"[...document.querySelectorAll('.found')].filter(e => /^✓ \\d+"
            f" {needed}/.test(e.textContent)).length === {len(photos)}"
            " && document.documentElement.dataset.waiting === '0'",
        )
        kept = served.work.root / "front-left" / state
        assert {p.name: p.read_bytes()
                for p in kept.glob("*.jpg")} == {p.name: p.read_bytes()
                                                 for p in photos}
    _fits(page, walker.width)
    walker.go("/photos/front-left/droop")
    assert walker.read("front-left/tape/droop/hub_to_arch", "a lot").startswith("✖")
    assert walker.read("front-left/tape/droop/hub_to_arch", "14 7/8") == "✓ 377.8 mm"
    assert 'hub_to_arch = "14 7/8 in"' in (served.work.root / "car.toml").read_text()
    # what is being worked out may be stopped, and is made anew by the next change
    page.evaluate("document.getElementById('job-stop').click()")
    assert walker.read("front-left/tape/droop/bar_arm_length", "207 mm") == "✓ 207.0 mm"


def _put_right(walker):
    """A corner dragged and kept, a marker dismissed."""
    page, root = walker.page, walker.served.work.root
    walker.go("/photo/front-left/droop/IMG_3121.jpg")
    page.locator("#markers button", has_text="bar eye").first.click()
    before = [
        float(v) for v in page.locator("polygon.chosen").get_attribute("points").replace(",", " ").split()
    ]
    page.locator(".knob").first.scroll_into_view_if_needed()
    box = page.locator(".knob").first.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 1.5, y + 1, steps=3)
    assert page.locator("#loupe").is_visible()
    page.mouse.up()
    dragged = [
        float(v) for v in page.locator("polygon.chosen").get_attribute("points").replace(",", " ").split()
    ]
    assert dragged[0] > before[0] + 1 and dragged[2:] == before[2:]  # px of the photo
    page.locator("#keep").click()
    page.locator("#markers button", has_text="placed").first.wait_for()
    # the pattern was aligned again from where it was put
    assert "bar eye" in page.locator("#markers button", has_text="placed").text_content()
    page.locator("#markers button", has_text="sill front").first.click()
    page.locator("#dismiss").click()
    page.locator("#markers button", has_text="dismissed").first.wait_for()
    _fits(page, walker.width)
    kept = json.loads((root / "corrections.json").read_text())["photos"]["front-left/droop/IMG_3121.jpg"]
    assert len(kept["placed"]) == 1 and len(kept["dismissed"]) == 1


def _answers(walker):
    """Angles, link with its slider, before and after."""
    page, root = walker.page, walker.served.work.root
    walker.go("/angles")
    report = json.loads((root / "results" / "measure.json").read_text())
    shown = 0
    for f in report["figures"]:
        cells = page.locator(f'tr[data-figure="front-left/{f["state"]}/{f["name"]}/{f["datum"] or ""}"] td')
        if f["unit"] == "deg" and f["state"] == "set" and cells.count():
            value, half = cells.all_text_contents()[:2]
            digits = len(value.rstrip("°").partition(".")[2])
            assert value == f"{f['value']:+.{digits}f}°" and half.startswith(
                f"{(f['high95'] - f['low95']) / 2:.{digits}f}")
            shown += 1
    assert shown > 5

    walker.go("/link")
    until(page, "document.querySelectorAll('#over-travel tr').length > 0")
    said = page.locator(".now .length").text_content()
    page.locator(".change").first.evaluate(
        "e => { e.value = Number(e.value) + 8; e.dispatchEvent(new Event('input', {bubbles: true})); }")
    until(page, f"document.querySelector('.now .length').textContent !== {json.dumps(said)}")
    length = [float(t.split()[0]) for t in (said, page.locator(".now .length").text_content())]
    assert length[1] - length[0] == pytest.approx(8 * 1.25, abs=0.11)  # mm: so many half turns
    until(page, "/In full/.test(document.querySelector('.full').textContent)")
    _fits(page, walker.width)

    walker.go("/compare?before=front-left/set&after=front-left/fitted")
    until(page, "[...document.images].every(i => i.complete && i.naturalWidth > 0)")
    assert "real change" in page.content()


def _as_the_commands(served):
    """The commands on the same folder say the same to the last digit."""
    root = served.work.root
    shown = {name: (root / "results" / f"{name}.json").read_text() for name in ("measure", "link")}
    out = CliRunner().invoke(main, ["link", str(root), "--json", "--no-pictures"],
                             catch_exceptions=False).stdout
    assert json.loads(out) == json.loads(shown["link"]) == json.loads(
        link_json(served.work.answer.report, served.work.answer.answers))
    assert json.loads(served.work.answer.measurement.report.to_json()) == json.loads(shown["measure"])


def _by_finger(walker, samples):
    """A marker that mud hides from the program placed by a tap, another chosen by a tap beside it; a dot."""
    page, root = walker.page, walker.served.work.root
    path, where = root / "front-left" / "set" / MUDDY, "front-left/set"
    walker.go(f"/photo/{where}/{MUDDY}")
    page.locator("#markers button").first.wait_for()
    look, kit = walker.served.work.look(where, path), walker.served.work.kit()
    assert not set(kit.ids_of_role("hub")) & set(look.sighting.tags)
    size = np.array([look.sighting.width_px, look.sighting.height_px])
    hub = (hub_corners(samples / where / MUDDY).mean(0) + 0.5) / 2 - 0.5
    page.locator("#missed").select_option("hub")
    page.locator("#add").tap()
    page.locator("#photo").scroll_into_view_if_needed()
    page.touchscreen.tap(*walker.on_photo(hub / size))
    page.locator("#markers button", has_text="placed").wait_for()
    (tag_id, corners), = json.loads(
        (root / "corrections.json").read_text())["photos"][f"{where}/{MUDDY}"]["placed"].items()
    assert np.linalg.norm(np.mean(corners, axis=0) - hub) < 8  # px: one of the screen is four of the photo
    assert int(tag_id) in kit.ids_of_role("hub") and int(tag_id) in walker.served.work.look(
        where, path).sighting.tags
    arch = next(t for i, t in look.sighting.tags.items() if kit.slot(i).role.key == "arch_lip")
    x, y = walker.on_photo(arch.corners_px.mean(0) / size)
    page.touchscreen.tap(x + 12, y - 8)
    assert page.locator("#chosen-title").text_content().startswith("arch lip")
    # a dot, and out again
    page.locator("#kind").select_option("dot")
    page.locator("#add").tap()
    page.locator("#photo").scroll_into_view_if_needed()
    page.touchscreen.tap(*walker.on_photo((0.5, 0.5)))
    page.locator("#markers button", has_text="dot. Take it out").tap()
    page.locator("#markers button", has_text="dot. Take it out").wait_for(state="detached")
    _fits(page, walker.width)
