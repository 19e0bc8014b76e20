"""The picture in the README and the guides is what the project's own script makes of the pages of today."""

import base64
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from tests.page.conftest import Site, window
from tests.page.screenshots import shoot_ground
from tests.page.serving import ROOT

pytestmark = pytest.mark.browser

KEPT = ROOT / "dashboards" / "help" / "img" / "ground.png"
APART_MOST = 2.0
"""Of 255, the mean over a grid of 160 x 90: times of day and where the trace stands differ with every picture."""

APART = """async (pictures) => {
  const grids = [];
  for (const picture of pictures) {
    const image = Object.assign(new Image(), { src: "data:image/png;base64," + picture });
    await image.decode();
    const canvas = new OffscreenCanvas(160, 90).getContext("2d");
    canvas.drawImage(image, 0, 0, 160, 90);
    grids.push(canvas.getImageData(0, 0, 160, 90).data);
  }
  return grids[0].reduce((sum, value, i) => sum + Math.abs(value - grids[1][i]), 0) / (160 * 90 * 3);
}"""


def apart(page: Page, one: bytes, other: bytes) -> float:
    """How far two pictures are apart, by their coarse colours."""
    return float(page.evaluate(APART, [base64.b64encode(picture).decode() for picture in (one, other)]))


def test_picture_of_the_guides_is_of_todays_ground_screen(tmp_path: Path, browser: Browser) -> None:
    """Made anew by ``python -m tests.page.screenshots --ground dashboards/help/img/ground.png``."""
    made = tmp_path / "ground.png"
    shoot_ground(browser, made)
    with window(browser) as context:
        far = apart(context.new_page(), KEPT.read_bytes(), made.read_bytes())
    print(f"the kept picture is {far:.1f} of 255 from one made now")
    assert far < APART_MOST


def test_a_picture_of_another_call_or_layout_would_be_noticed(site: Site) -> None:
    site.page.set_viewport_size({"width": 1280, "height": 720})
    site.open()
    site.page.wait_for_timeout(500)
    assert apart(site.page, KEPT.read_bytes(), site.page.screenshot()) > 5 * APART_MOST


def test_every_picture_of_the_documents_is_made_by_the_script() -> None:
    shown = list((ROOT / "dashboards" / "help" / "img").glob("*.png"))
    assert shown == [KEPT]
    assert "dashboards/help/img/ground.png" in (ROOT / "README.md").read_text(encoding="utf-8")
