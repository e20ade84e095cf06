"""The review as a document: what stands in its HTML, read with the standard library's parser."""

from __future__ import annotations

import base64
import hashlib
import itertools
import re
import sys
from html.parser import HTMLParser
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program, Season

DAY = "heron/2031-04-12"


class Outline(HTMLParser):
    """What a document consists of; every script's text by itself."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[str] = []
        self.words: list[str] = []
        self._inside: str | None = None
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag == "script":
            self.scripts.append("")
        self._inside = tag if tag in ("script", "style") else None

    def handle_endtag(self, tag: str) -> None:
        self._inside = None

    def handle_data(self, data: str) -> None:
        if self._inside == "script":
            self.scripts[-1] += data
        elif self._inside is None:
            self.words.append(data)

    def every(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]


@pytest.fixture(scope="module")
def written(season: Season, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("documents")
    made = {}
    for name, words in (("full", ()), ("short", ("--short",))):
        path = folder / f"{name}.html"
        assert season.run("review", DAY, "--html", str(path), *words).code == 0
        made[name] = path.read_text(encoding="utf-8")
    return made


@pytest.mark.parametrize("name", ["full", "short"])
def test_it_is_one_file_of_moderate_size_that_names_its_policy(written: dict[str, str], name: str) -> None:
    text = written[name]
    assert len(text.encode()) <= 3_000_000
    outline = Outline(text)
    assert outline.every("link") == []
    assert outline.every("iframe") == []
    assert {attrs.get("src") for attrs in outline.every("script")} == {None}
    assert all(str(attrs["src"]).startswith("data:image/svg+xml;base64,") for attrs in outline.every("img"))
    policy = next(str(attrs["content"]) for attrs in outline.every("meta") if "http-equiv" in attrs)
    assert policy.startswith("default-src 'none'; script-src 'sha256-")
    digest = base64.b64encode(hashlib.sha256(outline.scripts[-1].encode()).digest()).decode()
    assert f"'sha256-{digest}'" in policy, "the only script allowed is ours"
    assert not [name for _, attrs in outline.tags for name in attrs if name.startswith("on")]


@pytest.mark.parametrize("name", ["full", "short"])
def test_it_can_be_read_without_seeing_it(written: dict[str, str], name: str) -> None:
    """Points of WCAG 2.2 that can be read off the text: 1.1.1, 1.3.1, 2.4.1, 2.4.2, 2.4.6, 3.1.1."""
    outline = Outline(written[name])
    assert outline.every("html")[0]["lang"] == "en"
    assert [tag for tag, _ in outline.tags if tag in ("header", "nav", "main", "footer")] == [
        "header", "nav", "main", "footer",
    ]  # fmt: skip
    levels = [int(tag[1]) for tag, _ in outline.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    assert all(attrs.get("scope") in ("col", "row") for attrs in outline.every("th"))
    assert len(outline.every("img")) >= 3
    assert all(len(str(attrs["alt"])) > 40 for attrs in outline.every("img"))
    names = {str(attrs["id"]) for _, attrs in outline.tags if attrs.get("id")}
    targets = [str(attrs["href"])[1:] for attrs in outline.every("a")]
    assert set(targets) <= names
    assert len(names) == sum("id" in attrs for _, attrs in outline.tags), "every id once"


def test_it_holds_what_was_asked_for(written: dict[str, str]) -> None:
    for name, wanted, unwanted in (
        ("full", ("summary", "runs", "changes", "track", "found", "left", "air", "method", "cautions", "names"), ()),
        ("short", ("summary", "runs", "changes", "found", "left", "cautions", "names"), ("track", "air")),
    ):
        outline = Outline(written[name])
        sections = [attrs["id"] for attrs in outline.every("section")]
        assert set(wanted) <= set(sections)
        assert not set(unwanted) & set(sections)
        assert "rear tyre pressure" in " ".join(outline.words)
    charts = [attrs["data-chart"] for attrs in Outline(written["full"]).every("figure") if "data-chart" in attrs]
    assert charts == ["increments", "effects", "track", "air"]


def test_no_other_car_is_named(written: dict[str, str]) -> None:
    for text in written.values():
        outline = Outline(text)
        said = " ".join([*outline.words, outline.scripts[0], *(str(attrs) for _, attrs in outline.tags)]).lower()
        assert not [name for name in ("curlew", "dunlin", "plover", "wigeon") if name in said]


def test_metric_pages_have_no_customary_units(season: Season, tmp_path: Path) -> None:
    path = tmp_path / "metric.html"
    assert season.program("review", DAY, "--html", path, RUNLOG_UNITS="metric").code == 0
    said = " ".join(Outline(path.read_text(encoding="utf-8")).words)
    assert "km/h" in said
    for unit in (" mph", "°F", "inHg"):
        assert unit not in said


@pytest.mark.slow
def test_what_is_typed_stays_text(season_copy: Program) -> None:
    """Payloads from memory; none of them may become an element, an attribute or the end of a script."""
    hostile = "</script><script>alert(1)</script><img src=x onerror=alert(2)>{{ 7 * 7 }}\"' <!-- & ]]>"
    header = "car,date,time,track,run,lane,purpose,t60_s,spoiled,note\n"
    quoted = hostile.replace('"', '""')
    season_copy.write("more.csv", f'{header}heron,2031-04-12,18:30,lowfield,11,left,60,1.420,"{quoted}","{quoted}"\n')
    assert season_copy("import", "more.csv").code == 0
    sheet = f'item,value,unit,car,date,run\n"tyres {quoted}","{quoted}",,heron,2031-04-12,11\n'
    season_copy.write("sheet.csv", sheet)
    season_copy("import", "sheet.csv")
    assert season_copy("review", DAY, "--html", "r.html").code == 0
    text = (season_copy.folder / "r.html").read_text(encoding="utf-8")
    outline = Outline(text)
    assert len(outline.scripts) == 2
    assert "alert(1)" not in outline.scripts[1]
    assert all("onerror" not in attrs for _, attrs in outline.tags)
    assert hostile in " ".join(outline.words)


def test_missing_extra_is_named(season: Season, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name in ("jinja2", "vl_convert"):
        with monkeypatch.context() as patch:
            patch.setitem(sys.modules, name, None)
            done = season.program("review", DAY, "--html", tmp_path / "x.html")
            assert done.code == 1
            assert "pip install 'runlog[html]'" in done.err
            assert not (tmp_path / "x.html").exists()
    # without a document nothing of it is needed
    with monkeypatch.context() as patch:
        patch.setitem(sys.modules, "jinja2", None)
        patch.setitem(sys.modules, "vl_convert", None)
        assert season.program("review", DAY).code == 0


def test_missing_browser_is_named(season: Season, tmp_path: Path) -> None:
    done = season.program("review", DAY, "--pdf", tmp_path / "x.pdf", RUNLOG_BROWSER="no-such-browser")
    assert done.code == 1
    assert "a PDF is printed by a browser, and none is on this machine's PATH" in done.err
    assert "--html" in done.err


def test_unwritable_file_is_named(season: Season, tmp_path: Path) -> None:
    done = season.program("review", DAY, "--html", tmp_path / "no" / "x.html")
    assert done.code == 1
    assert "x.html can't be written: No such file or directory" in done.err
