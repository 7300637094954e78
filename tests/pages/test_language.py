"""The languages of the pages: nothing without its translation, nothing left in English, numbers as the reader writes them."""

from __future__ import annotations

import ast
import html
import json
import re
import runpy
import tomllib
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any, get_args, get_origin

import pytest
from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po
from pydantic import BaseModel
from typer.testing import CliRunner

from riskcalc.answers.assess import LUCK
from riskcalc.answers.check import check_figures
from riskcalc.answers.compare import page_dict as compare_dict
from riskcalc.answers.compare import result
from riskcalc.answers.match import matching
from riskcalc.answers.match import page_dict as match_dict
from riskcalc.answers.match import result as matching_result
from riskcalc.answers.options import comparison
from riskcalc.answers.rows import LUCK_WORDS, MONTH_NAMES
from riskcalc.answers.stay import stay_curves
from riskcalc.demand.appliances import appliance_table
from riskcalc.language import (
    LANGUAGES,
    OF_RESULT,
    day_in_words,
    drawing_locale,
    language_of,
    month_in_words,
    speaking,
    told,
)
from riskcalc.pages import page, small_pages
from riskcalc.pages.exhibits.answer import brief_lines, brief_markdown
from riskcalc.pages.figures import counted, frequency, joined, money, percent, say, whole_years, years
from riskcalc.scenario import Scenario, read_scenario
from riskcalc.scenario.claims import MEASURES

TESTS = Path(__file__).parents[1]
SCENARIOS = TESTS.parent / "scenarios"
SOURCES = runpy.run_path(str(TESTS / "pages/catalogue.py"))
SMALL = runpy.run_path(str(TESTS / "conftest.py"))["SMALL"]
HEADLESS = runpy.run_path(str(TESTS / "headless.py"))
WORD = re.compile(r"[A-Za-zÄÖÜäöüß][A-Za-zÄÖÜäöüß’']{2,}(?<![’'])")
PART = SOURCES["PART"]
OTHERS = [language for language in LANGUAGES if language != "en"]
#: Words of English that German does not have, of the kind no sentence does without.
ENGLISH = frozenset(
    WORD.findall(
        "the and are with from for that this not than which what when where who how its their them they have has had were "
        "would could each every any none more most less least within without between below above out into over after "
        "before during only other others same such but year years day days month months hour hours future futures worth "
        "price prices input inputs sun given source judgement paid back pays average low high unit needed nothing used "
        "demand"
    )
)
STUDY = ("study.draws=64", "study.pool_years=8", "study.scrambles=4", "study.step_minutes=30", "study.horizon_years=3")


@cache
def catalogue(language: str) -> Catalog:
    """Return the catalogue of a language as it is written."""
    path = SOURCES["PACKAGE"] / "locale" / language / "LC_MESSAGES/riskcalc.po"
    with path.open("rb") as file:
        return read_po(file, locale=language)


def entries(language: str) -> Iterator[tuple[Message, list[str], list[str]]]:
    """Yield each message with its forms in English and in the language."""
    for row in catalogue(language):
        if row.id:
            yield row, *([form] if isinstance(form, str) else list(form) for form in (row.id, row.string))


@pytest.mark.parametrize("language", OTHERS)
def test_every_message_of_the_sources_is_translated(language: str) -> None:
    """Each sentence, label, title and caption of the pages has its translation; nothing is kept that is said no more."""
    wanted = SOURCES["messages"]()
    assert len(wanted) > 600
    known = {SOURCES["first"](row.id): row for row in catalogue(language) if row.id and not row.context}
    missing = [text for text in wanted if text not in known or not all(known[text].string)]
    assert not missing, "run tests/pages/catalogue.py and translate:\n" + "\n".join(missing)
    assert not [text for text in known if text not in wanted]
    for text, (_, many) in wanted.items():
        assert known[text].id == ((text, many) if many else text)


@pytest.mark.parametrize("language", OTHERS)
def test_translations_have_the_same_named_parts(language: str) -> None:
    """No figure is lost or made up on the way into a language, in any plural form."""
    for row, english, said in entries(language):
        parts = [set(PART.findall(form)) for form in english]
        for form in said:
            assert set.intersection(*parts) <= set(PART.findall(form)) <= set.union(*parts), row.id
        assert set(PART.findall(said[-1])) == parts[-1], row.id
        assert all(form == form.strip() for form in said), row.id
        assert "fuzzy" not in row.flags


@pytest.mark.parametrize("language", OTHERS)
def test_words_of_every_key_are_translated(language: str) -> None:
    """Titles, choices and origins of defaults of every key of a scenario, names of luck, measures, months, appliances."""
    titles, origins, choices = words_of_keys(Scenario)
    assert (len(titles), len(origins), len(choices)) > (200, 80, 40)
    wanted = {*titles, *origins, *(f"not given: {origin}" for origin in origins)}
    wanted |= {*LUCK.values(), *LUCK_WORDS.values(), *MEASURES.values()}
    wanted |= {name.replace("_", " ") for name in appliance_table()}
    known = {row.id for row in catalogue(language) if row.context == OF_RESULT}
    same = {"Name", "Alternative", "laptop", "toaster", "fax"}
    publications = {text for text in wanted if re.match(r"(not given: )?[A-Z][a-zé]+ .*\d{4}.*[a-z)]?$", text)}
    keys = {text for text in wanted if re.fullmatch(r"(not given: )?[a-z_]+_[a-z_]+", text)}
    with speaking(language):
        left = [text for text in wanted - publications - keys if told(text) == text and text not in same]
        assert not left
        assert not [text for text in (*MONTH_NAMES, *choices) if text not in known and len(text) > 4]


def words_of_keys(table: type[BaseModel]) -> tuple[set[str], set[str], set[str]]:
    """Return titles, origins of defaults and choices of all keys below a table of a scenario."""
    titles: set[str] = set()
    origins: set[str] = set()
    choices: set[str] = set()
    waiting, seen = [table], set()
    while waiting:
        found = waiting.pop()
        if found in seen:
            continue
        seen.add(found)
        for field in found.model_fields.values():
            titles |= {field.title} if field.title else set()
            origins |= {str((field.json_schema_extra or {}).get("source") or "")} - {""}  # type: ignore[union-attr]
            for kind in kinds(field.annotation):
                if isinstance(kind, type) and issubclass(kind, BaseModel):
                    waiting.append(kind)
                elif isinstance(kind, str):
                    choices.add(kind)
    return titles, origins, choices


def kinds(annotation: Any) -> Iterator[Any]:
    """Yield all types and literals within an annotation."""
    yield annotation
    if get_origin(annotation) is not None:
        for inner in get_args(annotation):
            yield from kinds(inner)


#: Modules whose sentences a result brings along, and the functions they stand in, where not all of a module is told.
OF_RESULTS = {
    "answers/limits.py": (),
    "answers/check.py": (),
    "answers/update.py": ("limits_of",),
    "scenario/plausible.py": (),
    "uncertainty/bounded.py": ("core_words",),
    "uncertainty/endless.py": ("core_words",),
    "weather/fit.py": (),
    "years/planes.py": ("scenario_fit", "check_fit"),
}
#: What a piece of a sentence follows or stands for.
BEFORE = {" ": "7", ", but": "at least 7 in series keep tracking with cells at 7 °C", ", ": "uniform 7 to 7"}
BEFORE |= {". No record": "m", ". The coldest": "m", "; ": "at most 7 in parallel stay below the limit in strong light"}
PARTS = {"SOCKETS_W": "1,440 W (120 V, 12 A) to 2,300 W (230 V, 10 A)"}


@pytest.mark.parametrize("module", OF_RESULTS)
@pytest.mark.parametrize("language", OTHERS)
def test_sentences_of_results_are_translated(language: str, module: str) -> None:
    """What a result says of its limits, questions, loads and electrical fit is known by its message, figures and all."""
    samples = list(sentences(ast.parse((SOURCES["PACKAGE"] / module).read_text(encoding="utf-8")), OF_RESULTS[module]))
    assert samples
    with speaking(language):
        left = [text for text in samples if told(text) == text]
    assert not left, "\n".join(left)


def sentences(tree: ast.Module, functions: tuple[str, ...]) -> Iterator[str]:
    """Yield a sample of every sentence of a module, a figure in the place of each part."""
    silent = SOURCES["not_said"](tree)
    roots = [node for node in ast.walk(tree) if getattr(node, "name", "") in functions] if functions else [tree]
    for node in (inner for root in roots for inner in ast.walk(root)):
        if isinstance(node, ast.JoinedStr):
            pieces = (
                part.value if isinstance(part, ast.Constant) else PARTS.get(part_name(part), "7")
                for part in node.values
            )
            text = "".join(pieces)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in silent:
            text = node.value
        else:
            continue
        is_said = len(WORD.findall(text)) > 2 and re.search(r"[a-z]{2,},? [a-z(]", text)
        if is_said and text not in PARTS.values() and not re.match(r" \(|1 real or", text):
            yield next((before + text for start, before in BEFORE.items() if text.startswith(start)), text)


def part_name(part: ast.expr) -> str:
    """Return the name that stands alone in a part of an f-string."""
    return str(getattr(getattr(part, "value", None), "id", ""))


@pytest.fixture(scope="module")
def dicts(
    only: dict[str, Any], small_dicts: dict[str, dict[str, Any]], tmp_path_factory: pytest.TempPathFactory
) -> dict[str, tuple[str, dict[str, Any]]]:
    """Return what the pages of all commands are made of, with the text of the files behind each."""
    folder = tmp_path_factory.mktemp("language")
    file = folder / "small.toml"
    file.write_text(SMALL, encoding="utf-8")
    price = 'purchase.price={distribution="uniform", low=50, high=900}'
    rented = ('name="rented"', "tenure.kind=rent", "tenure.at_move=sell", "tenure.stay_years=2")
    owned = ('name="owned"', "tenure.kind=own", "kit.battery.extra_batteries=1")
    found = comparison([read_scenario(file, (*STUDY, price, *changes)) for changes in (rented, owned)])
    curves = stay_curves(found.entries)
    homes, kits = ("studio", "cabin", "terrace"), ("plug-in-800w", "portable-1kwh", "rooftop-4kwp-5kwh")
    files = (
        [SCENARIOS / "homes" / f"{name}.toml" for name in homes],
        [SCENARIOS / "kits" / f"{name}.toml" for name in kits],
    )
    matched = matching(*files, modules=[2], changes=STUDY)
    shelf = "".join(path.read_text(encoding="utf-8") for path in (*files[0], *files[1]))
    made = {
        "assess": (SMALL, only),
        "compare": (SMALL, compare_dict(found, curves, figures=result(found, curves), command="riskcalc compare")),
        "match": (shelf, match_dict(matched, figures=matching_result(matched), command="riskcalc match")),
        **{name: (SMALL, small_dicts[name]) for name in ("rank", "update", "trace")},
    }
    for name in ("workshop-off-grid", "terrace-tenant"):
        checked = read_scenario(SCENARIOS / f"{name}.toml")
        texts = "".join(
            (SCENARIOS.parent / used.path).read_text() for used in checked.files if used.path.endswith("toml")
        )
        made[f"check {name}"] = (texts, check_figures(checked) | {"title": "T", "page": {"command": "riskcalc check"}})
    return made


def made(name: str, figures: Mapping[str, Any]) -> str:
    """Return a page."""
    maker = f"{name.split(maxsplit=1)[0]}_page"
    make: Callable[[Mapping[str, Any]], str] = vars(page).get(maker) or vars(small_pages)[maker]
    return make(figures)


def visible(page: str) -> Iterator[str]:
    """Yield every text that a reader sees or hears, but commands and keys; the words of the scripts too."""
    for packed in re.findall(r'<script type="application/json"[^>]*>(.*?)</script>', page, flags=re.DOTALL):
        data = json.loads(packed)
        yield from all_texts(data["words"])
        yield from (row["label"] for row in data.get("inputs", ()) if "label" in row)
    bare = re.sub(r"<(script|style|code|pre)\b.*?</\1>", "\n", page, flags=re.DOTALL)
    said = re.findall(r'\b(?:aria-label|placeholder|data-of|alt)="([^"]*)"', bare)
    said += re.findall(r'<meta (?:name="description"|property="og:(?:title|description)") content="([^"]*)"', bare)
    yield from map(html.unescape, (*said, *re.split(r"<[^>]*>", bare)))


def all_texts(piece: Any) -> Iterator[str]:
    """Yield every text within lists and mappings."""
    if isinstance(piece, str):
        yield piece
    elif isinstance(piece, list | dict):
        for inner in piece.values() if isinstance(piece, dict) else piece:
            yield from all_texts(inner)


COMMANDS = ["assess", "compare", "match", "rank", "update", "trace", "check workshop-off-grid", "check terrace-tenant"]


@pytest.mark.parametrize("name", COMMANDS)
@pytest.mark.parametrize("language", OTHERS)
def test_no_english_word_is_left(dicts: dict[str, tuple[str, dict[str, Any]]], language: str, name: str) -> None:
    """A word that stands in the English page as well is one of the files, of a publication, or of both languages."""
    texts, figures = dicts[name]
    with speaking(language):
        page = made(name, figures)
    assert f'<html lang="{language}">' in page
    own = {
        word.lower()
        for word in WORD.findall(texts + " ".join(runpy.run_path(str(TESTS / "pages/conftest.py"))["CHANGES"]))
    }
    known = figures.get("provenance", {})
    own |= {w.lower() for w in WORD.findall(json.dumps([known.get(name) for name in ("libraries", "files", "python")]))}
    own |= {
        "csv",
        "lfp",
        "nmc",
        "svg",
        "png",
        "python",
        "rented",
        "owned",
        "toml",
        "wind",
        "jan",
        "feb",
        "apr",
        "jun",
        "jul",
        "aug",
        "sep",
        "nov",
    }
    ours = {word.lower() for _, _, said in entries(language) for form in said for word in WORD.findall(form)}
    english = {word.lower() for text in visible(made(name, figures)) for word in WORD.findall(text)}
    left: dict[str, str] = {}
    for text in visible(page):
        words = {word.lower() for word in WORD.findall(text)}
        for word in words & english - ours - own | words & ENGLISH - own:
            if not any(is_titled(text, word, row) for row in quoted(language)):
                left.setdefault(word, text.strip()[:90])
    assert not left, left


@cache
def quoted(language: str) -> list[str]:
    """Return the translations that quote an English title, of a publication or a law."""
    said = [form for _, _, forms in entries(language) for form in forms]
    return [form for form in said if {word.lower() for word in WORD.findall(form)} & ENGLISH]


def is_titled(text: str, word: str, form: str) -> bool:
    """Return whether a word of a text belongs to a title that a translation quotes."""
    return word in form.lower() and form.split("{", maxsplit=1)[0].strip(" ;:")[:30] in text


@pytest.mark.parametrize("name", COMMANDS)
def test_english_is_the_default(dicts: dict[str, tuple[str, dict[str, Any]]], name: str) -> None:
    """English comes without a catalogue, and a language ends with its block."""
    page = made(name, dicts[name][1])
    with speaking("de"), speaking("en"):
        assert made(name, dicts[name][1]) == page
    assert '<html lang="en">' in page


def test_german_numbers() -> None:
    """Points between thousands, a comma before decimals, the currency behind, a space before per cent (DIN 5008)."""
    with speaking("de"):
        assert money(1272.0, "EUR") == "1.272\u00a0€"
        assert money(-1272.0, "CHF") == "−\u20601.272\u00a0CHF"
        assert money(9.5, "EUR") == "9,50\u00a0€"
        assert money({"value": 343.2, "standard_error": 17.0}, "EUR", with_error=True) == "340\u00a0±\u00a020\u00a0€"
        assert percent(0.005, se=0.0001) == "0,5\u202f%"
        assert percent(0.0001, se=0.0) == "<1\u202f%"
        assert years({"value": 9.44, "standard_error": 0.1}, horizon=15) == "9,4\u00a0Jahre"
        assert drawing_locale() == {
            "decimal": ",",
            "thousands": ".",
            "grouping": [3],
            "currency": ["", "\u00a0€"],
            "percent": "\u00a0%",
            "minus": "−",
        }
        assert told("-0.0025") == "-0,0025"
        assert told("1.0, 0.7") == "1,0; 0,7"
        assert told(
            "you gave no figure for 'Price of the kit', so we used ours. It decides 23 % of the difference between good and bad "
            "futures"
        ) == (
            "für „Preis der Anlage“ haben Sie nichts angegeben, deshalb gilt unsere Annahme. Von ihr kommen 23\u202f% des "
            "Unterschieds zwischen guten und schlechten Verläufen"
        )


def test_german_cases_and_plurals() -> None:
    """One year, two years, and both behind a preposition; lists; a frequency of futures."""
    with speaking("de"):
        assert say("paid back within {years}", years=whole_years(1)) == "innerhalb von 1\u00a0Jahr amortisiert"
        assert say("paid back within {years}", years=whole_years(15)) == "innerhalb von 15\u00a0Jahren amortisiert"
        assert counted("{count} home", "{count} homes", 1) == "1 Wohnung oder Haus"
        assert counted("{count} home", "{count} homes", 2000) == "2.000 Wohnungen und Häuser"
        assert frequency({"value": 0.7}, 1024) == "etwa 7 von 10 Verläufen"
        assert joined(["a", "b", "c"]) == "a, b und c"


def test_german_dates_and_words_of_results() -> None:
    """Days and months as they are written, and texts of a result known by their message."""
    with speaking("de"):
        assert day_in_words("Monday 14 July", 2025) == "Montag, 14. Juli"
        assert month_in_words("2026-04") == "April 2026"
        assert told("triangular 0.25 to 0.3, most likely 0.27") == "Dreieck 0,25 bis 0,3, am wahrscheinlichsten 0,27"
        assert told("Today's price per kWh from the grid (night rate)") == "Heutiger Strompreis je kWh (Nachttarif)"
        assert (
            told("General inflation and trend of electricity prices")
            == "Allgemeine Inflation und Trend der Strompreise"
        )
        assert (
            told("Price of the kit and length of stay in this home")
            == "Preis der Anlage und Wie lange Sie hier wohnen bleiben"
        )
        assert (
            told("A sentence of the scenario, 3.5 to 7 times as long.")
            == "A sentence of the scenario, 3.5 to 7 times as long."
        )
    assert (
        told("Today's price per kWh from the grid (night rate)") == "Today's price per kWh from the grid (night rate)"
    )


def test_language_of_the_country() -> None:
    """The country is that of the time zone; its language is taken where it pays with the currency."""
    assert language_of("EUR", "Europe/Berlin") == "de"
    assert language_of("EUR", "Europe/Vienna") == "de"
    assert language_of("CHF", "Europe/Zurich") == "de"
    assert language_of("GBP", "Europe/London") == "en"
    assert language_of("EUR", "Europe/Paris") == "en"
    assert language_of("GBP", "Europe/Berlin") == "en"
    assert language_of("EUR", "nowhere") == "en"


def test_new_chooses_the_language_and_check_speaks_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A home in Hamburg is German from the start; --language wins over the scenario; another language is refused."""
    from riskcalc.cli import app

    monkeypatch.chdir(tmp_path)
    run = CliRunner().invoke
    prices = ["--price", "0.35", "--export-price", "0.08", "--cost", "900", "--kit", "plug-in-800w", "--tariff", "flat"]
    assert run(app, ["new", "home.toml", "--yes", "--place", "hamburg", *prices]).exit_code == 0
    assert tomllib.loads(Path("home.toml").read_text(encoding="utf-8"))["study"]["language"] == "de"
    assert run(app, ["check", "home.toml", "--out", "german"]).exit_code == 0
    assert '<html lang="de">' in Path("german/check.html").read_text(encoding="utf-8")
    assert run(app, ["check", "home.toml", "--out", "english", "--language", "en"]).exit_code == 0
    assert '<html lang="en">' in Path("english/check.html").read_text(encoding="utf-8")
    assert run(app, ["check", "home.toml", "--language", "xx"]).exit_code == 2


def test_brief_is_german_too(only: dict[str, Any]) -> None:
    """The five sentences to read aloud, and the Markdown for a description box."""
    with speaking("de"):
        lines, markdown = brief_lines(only), brief_markdown(only)
    assert len(lines) == 5
    assert lines[0].startswith("Anlage: ")
    assert markdown.startswith(f"## {only['title']}\n\n**")
    assert markdown.count("\n- ") == 4
    assert "simulierten Verläufen" in markdown
    said = {word.lower() for line in (*lines, markdown) for word in WORD.findall(line)}
    own = {word.lower() for word in WORD.findall(f"{only['title']} {only['page']['kit']} {only['page']['home']}")}
    assert not said & ENGLISH - own


def test_the_wheel_carries_the_catalogues() -> None:
    """The patterns of the package's data hold every catalogue."""
    project = tomllib.loads((SCENARIOS.parent / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = project["tool"]["setuptools"]["package-data"]["riskcalc"]
    held = {path for pattern in patterns for path in SOURCES["PACKAGE"].glob(pattern)}
    assert {*SOURCES["PACKAGE"].rglob("*.po")} <= held
    assert sorted(path.parts[-3] for path in held if path.suffix == ".po") == sorted(OTHERS)


@pytest.mark.browser
@pytest.mark.skipif(bool(REASON := HEADLESS["missing"]("axe_playwright_python")), reason=REASON)
@pytest.mark.parametrize("name", ["assess", "compare", "match", "rank", "update", "trace", "check workshop-off-grid"])
def test_german_fits_a_phone(
    dicts: dict[str, tuple[str, dict[str, Any]]], opened: Callable[..., Any], name: str
) -> None:
    """At 360 px nothing scrolls sideways, no word sticks out of its box, and axe-core finds nothing."""
    with speaking("de"):
        page = made(name, dicts[name][1])
    shown, said, _ = opened(page, width=360)
    shown.evaluate("for (const details of document.querySelectorAll('details')) details.open = true")
    assert shown.evaluate("document.documentElement.scrollWidth") <= 360
    outside = shown.evaluate(
        "[...document.querySelectorAll('h1,h2,h3,p,li,dt,dd,td,th,label,button,summary')]"
        ".filter((e) => !e.closest('.scroll') && e.scrollWidth > e.clientWidth + 1 && !e.closest('thead'))"
        ".map((e) => e.textContent)"
    )
    assert outside == []
    assert said == []
    assert HEADLESS["violations"](shown) == []


#: What sticks out of a drawing, as the browser renders it: text outside the frame, by more than a pixel.
STICKS_OUT = """() => {
  const frame = document.querySelector("svg").getBoundingClientRect();
  return [...document.querySelectorAll("svg text")].filter((text) => {
    const box = text.getBoundingClientRect();
    return box.left < frame.left - 1 || box.top < frame.top - 1 || box.right > frame.right + 1 || box.bottom > frame.bottom + 1;
  }).map((text) => text.textContent);
}"""


@pytest.mark.browser
@pytest.mark.skipif(bool(REASON), reason=REASON)
@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_of_a_saved_drawing_is_cut(browser: Any, language: str) -> None:
    """Rendered in a browser, every word of every chart in every shape lies inside the frame: boxes, no estimate."""
    figures = json.loads((SCENARIOS.parent / "reports/examples/tenant-balcony/result.json").read_text(encoding="utf-8"))
    with speaking(language):
        drawn = page.charts_in(figures)
        saved = {(chart.key, shape): chart.saved(shape) for chart in drawn for shape in ("page", "16:9", "square")}
    assert len(saved) == 3 * len(drawn) >= 24
    window = browser.new_page(viewport={"width": 1400, "height": 1200})
    for name, svg in saved.items():
        window.set_content(f"<body style='margin:0'>{svg}</body>")
        assert window.evaluate(STICKS_OUT) == [], name
    window.close()


@pytest.mark.parametrize(("kind", "start"), [("svg", b"<svg"), ("png", b"\x89PNG")])
@pytest.mark.parametrize(("shape", "ending"), [("page", ""), ("16:9", "-wide"), ("square", "-square")])
def test_the_command_of_the_charts(tmp_path: Path, kind: str, start: bytes, shape: str, ending: str) -> None:
    """One picture for each chart of a result, of the kind and shape asked for, in the language asked for."""
    from riskcalc.cli import app

    found = SCENARIOS.parent / "reports/examples/tenant-balcony/result.json"
    asked = ["charts", str(found), "--format", kind, "--shape", shape, "--language", "de", "--out", str(tmp_path)]
    assert CliRunner().invoke(app, asked).exit_code == 0
    names = ["cash", "demand", "futures", "odds", "prices", "share", "solar", "swing", "worth"]
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(f"{name}{ending}.{kind}" for name in names)
    assert all(path.read_bytes().startswith(start) for path in tmp_path.iterdir())
    if kind == "svg":
        assert "Erstellt mit riskcalc" in " ".join(
            re.findall(r">([^<]+)<", (tmp_path / f"odds{ending}.svg").read_text())
        )
