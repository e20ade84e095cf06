"""The documents in a real browser without a window: nothing said on its console, nothing asked of any network."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Browser, Program, Season

pytestmark = pytest.mark.slow

DAY = "heron/2031-04-12"
CHARTS = {"full": 4, "short": 2, "season": 2, "fleet": 1}
COMMANDS = {
    "full": ("review", DAY),
    "short": ("review", DAY, "--short"),
    "season": ("season", "heron"),
    "fleet": ("fleet",),
}

CONTRAST = """
(() => {
  const parse = (text) => { const p = text.match(/[\\d.]+/g).map(Number); return p.length < 4 ? [...p, 1] : p; };
  const light = ([r, g, b]) => {
    const part = (v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
    return 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  };
  const below = (element) => {
    for (let e = element; e; e = e.parentElement) {
      const colour = parse(getComputedStyle(e).backgroundColor);
      if (colour[3] > 0) return colour;
    }
    return [255, 255, 255, 1];
  };
  const poor = [];
  for (const e of document.querySelectorAll("body *")) {
    if (e.closest("svg, script, style, .skip")) continue;
    const own = [...e.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
    if (!own || !e.getClientRects().length) continue;
    const style = getComputedStyle(e);
    const [a, b] = [light(parse(style.color)), light(below(e))];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < 4.5) poor.push(`${e.tagName}.${e.className} ${ratio.toFixed(2)} ${e.textContent.slice(0, 30)}`);
  }
  return poor;
})()
"""
"""text below the contrast that WCAG 2.2 asks of all but large text (criterion 1.4.3), relative luminance as it says"""


def outside(browser: Browser, width: int) -> list[str]:
    """Return what reaches beyond the window, but for what scrolls by itself. The window's own width may give way."""
    found: list[str] = browser.value(
        f"""[...document.querySelectorAll("body *")]
          .filter((e) => !e.closest(".wide, .skip") && e.getClientRects().length)
          .filter((e) => e.getBoundingClientRect().right > {width + 1})
          .map((e) => `${{e.tagName}}.${{e.className}}`)"""
    )
    return found


@pytest.fixture(scope="module")
def documents(season: Season, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("documents")
    made = {}
    for name, words in COMMANDS.items():
        made[name] = folder / f"{name}.html"
        assert season.program(*words, "--html", made[name]).code == 0
    return made


@pytest.mark.parametrize("width", [360, 1200])
@pytest.mark.parametrize("name", COMMANDS)
def test_it_renders_in_silence_and_fits(browser: Browser, documents: dict[str, Path], name: str, width: int) -> None:
    browser.open(documents[name], width)
    assert browser.said == []
    assert [address for address in browser.asked if not address.startswith("data:")] == [documents[name].as_uri()]
    assert browser.value("document.querySelectorAll('figure.drawn .live svg').length") == CHARTS[name]
    marks = "[...document.querySelectorAll('figure.drawn .live')].map((e) => e.querySelectorAll('svg path').length)"
    assert min(browser.value(marks)) > 5, "a chart without marks"
    assert browser.value("document.documentElement.scrollWidth") <= width
    assert outside(browser, width) == []
    assert browser.value(CONTRAST) == []


def test_the_checks_of_width_and_contrast_can_fail(browser: Browser, tmp_path: Path) -> None:
    page = tmp_path / "bad.html"
    wide = '<div style="width:900px;background:#fff;color:#999">grey on white</div>'
    page.write_text(f'<meta name="viewport" content="width=device-width"><body>{wide}<p>good</p>')
    browser.open(page, 360)
    assert outside(browser, 360) == ["DIV."]
    # #999 on white is 2.85 : 1 by the formula of WCAG 2.2, worked by hand
    assert browser.value(CONTRAST) == ["DIV. 2.85 grey on white"]


def test_without_scripts_every_chart_is_still_there(browser: Browser, documents: dict[str, Path]) -> None:
    browser.call("Emulation.setScriptExecutionDisabled", value=True)
    try:
        browser.open(documents["full"], 1200, live=False)
    finally:
        browser.call("Emulation.setScriptExecutionDisabled", value=False)
    shown = browser.value("[...document.querySelectorAll('figure img')].filter((e) => e.offsetHeight > 50).length")
    assert shown == CHARTS["full"] + 1


def test_nothing_typed_runs(browser: Browser, season_copy: Program) -> None:
    """Payloads from memory, in every place where the crew writes freely."""
    hostile = "</script><script>window.hurt=1</script><img src=x onerror=window.hurt=2><svg onload=window.hurt=3>"
    header = "car,date,time,track,run,lane,purpose,t60_s,spoiled,note\n"
    season_copy.write("a.csv", f'{header}heron,2031-04-12,18:30,lowfield,11,left,60,1.42,"{hostile}","{hostile}"\n')
    season_copy.write("b.csv", f'item,value,unit,car,date,run\nbadge,"{hostile}",,heron,2031-04-12,11\n')
    season_copy.write("c.csv", f'item,value,unit,car,date,run\n"x {hostile}",1,psi,heron,2031-04-12,11\n')
    for name in ("a.csv", "b.csv", "c.csv"):
        season_copy("import", name)
    assert season_copy("review", DAY, "--html", "r.html").code == 0
    browser.open(season_copy.folder / "r.html", 1200)
    assert browser.value("typeof window.hurt") == "undefined"
    assert browser.said == []
    assert browser.value("document.querySelector('.said, .runs').innerText.length") > 0
    assert browser.value("document.body.innerText.includes('onerror=window.hurt=2')")


def test_a_script_put_into_the_file_is_refused(browser: Browser, documents: dict[str, Path], tmp_path: Path) -> None:
    """The policy itself: somebody else's script doesn't run even where it stands in the file."""
    page = tmp_path / "tampered.html"
    text = documents["full"].read_text(encoding="utf-8")
    page.write_text(text.replace("<main", "<script>window.hurt = 1</script><main", 1), encoding="utf-8")
    browser.open(page, 1200)
    assert browser.value("typeof window.hurt") == "undefined"
    assert any("Content Security Policy" in said for said in browser.said)


@pytest.mark.parametrize(
    ("name", "fewest", "most"), [("full", 9, 12), ("short", 3, 4), ("season", 3, 4), ("fleet", 4, 7)]
)
def test_it_prints(season: Season, browser: Browser, tmp_path: Path, name: str, fewest: int, most: int) -> None:
    """Pages counted, and read back, with pypdf."""
    from pypdf import PdfReader

    assert season.program(*COMMANDS[name], "--pdf", tmp_path / "x.pdf").code == 0
    reader = PdfReader(io.BytesIO((tmp_path / "x.pdf").read_bytes()))
    assert fewest <= len(reader.pages) <= most
    words = [" ".join((page.extract_text() or "").split()) for page in reader.pages]
    assert "heron" in words[0]
    assert all(len(text) > 60 for text in words), "an empty page"
    assert f"{len(words)} / {len(words)}" in words[-1]
    if COMMANDS[name][0] == "review":
        assert "In short" in words[0]
        assert "Customer: name, date" in words[-1]
