"""A scenario is data: it cannot run anything, reach the network, write elsewhere or put markup into the report."""

import ast
import json
import os
import runpy
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from riskcalc.answers.assess import result
from riskcalc.answers.page_dict import page_dict
from riskcalc.errors import InputError, one_problem
from riskcalc.pages.page import assess_page
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment

PACKAGE = Path(__file__).parents[1] / "riskcalc"
SMALL = runpy.run_path(str(Path(__file__).with_name("conftest.py")))["SMALL"]
CHROMIUM = next(
    (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))), None
)

#: Text that does something where text is taken for markup, a template, a formula or a program.
NASTY = (
    "</script><script>window.broken=1</script><img src=x onerror='window.broken=1'><svg onload='window.broken=1'>"
    "{{ 7*7 }}{% raw %}${7*7}`touch hacked`$(touch hacked)__import__('os').system('touch hacked')=cmd|'/c x'!A1"
)
#: Keys of a scenario that hold free text; the name of the scenario is a name of a folder and takes no markup at all.
TEXTS = ("description", "site.place", "home.name", "home.kind", "tariff.name", "kit.name", "kit.module.name")


def nasty_changes():
    """Return overrides that put the text wherever a scenario takes text, sources of figures included."""
    quoted = json.dumps(NASTY)
    source = f'purchase.price={{distribution="uniform",low=500,high=700,source={quoted},note={quoted}}}'
    return [*(f"{key}={quoted}" for key in TEXTS), source]


def page_of(scenario):
    """Return the report of a scenario as HTML."""
    return assess_page(page_dict(assessment(scenario), command=f"riskcalc assess '{NASTY}'"))


@pytest.fixture(scope="module")
def nasty_page(tmp_path_factory):
    """Return the report of a scenario that is full of markup and script."""
    path = tmp_path_factory.mktemp("nasty") / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    return page_of(read_scenario(path, nasty_changes()))


@pytest.fixture(scope="module")
def browser():
    """Return a headless Chromium."""
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        chromium = driver.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        )
        yield chromium
        chromium.close()


def opened(browser, text, path):
    """Return the page opened from a file, what it says on the console and what it asks for."""
    path.write_text(text, encoding="utf-8")
    page, said, asked = browser.new_page(), [], []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: said.append(dialog.message))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    return page, said, asked


@pytest.mark.browser
def test_markup_in_a_scenario_shows_as_text_in_the_browser(browser, nasty_page, tmp_path):
    """Every nasty text stands on the page letter by letter; none of it ran, nothing was asked for."""
    page, said, asked = opened(browser, nasty_page, tmp_path / "report.html")
    for details in page.locator("details").all():
        details.evaluate("e => { e.open = true; }")
    text = page.evaluate("document.body.textContent")
    assert text.count(NASTY) >= len(TEXTS)
    assert "49" not in text.split(NASTY)[0][-40:]
    assert page.evaluate("window.broken") is None
    assert page.locator("img").count() == 0
    assert said == []
    assert asked == [(tmp_path / "report.html").as_uri()]
    page.close()


@pytest.mark.browser
def test_the_policy_stops_what_would_slip_through(browser, nasty_page, tmp_path):
    """A script, a handler, a style and a picture put into the finished page by hand are all refused by its policy."""
    slipped = (
        "<script>window.broken=1</script><img src='data:,x' onerror='window.broken=1'>"
        "<p id='styled' style='width:7px'>x</p><script src='https://localhost/x.js'></script>"
    )
    page, said, _ = opened(browser, nasty_page.replace("</main>", f"{slipped}</main>"), tmp_path / "report.html")
    assert page.evaluate("window.broken") is None
    assert page.evaluate("getComputedStyle(document.getElementById('styled')).width") != "7px"
    assert len([line for line in said if "Content Security Policy" in line]) >= 4
    page.close()


def test_the_page_carries_its_policy(nasty_page):
    """The policy stands in the head before anything it governs, and lets nothing in by default."""
    head = nasty_page.split("</head>")[0]
    assert "default-src 'none'" in head.replace("&#39;", "'")
    assert head.index("Content-Security-Policy") < head.index("<style>")


def test_a_scenarios_name_cannot_leave_the_reports_folder(read_small):
    """The name of a scenario names a folder: separators, dots at the start and control characters are refused."""
    for name in ("../../etc", "..", ".hidden", "a/b", "a\\b", "C:x", "a\u202eb", "<b>"):
        with pytest.raises(InputError, match="it names the report's folder"):
            read_small(f"name={json.dumps(name)}")


def test_no_socket_is_opened_in_a_run(read_small, monkeypatch):
    """Reading, simulating, ranking and writing the page go through with every socket refused."""

    def refuse(*_args, **_kwargs):
        raise AssertionError("a socket was opened")

    for name in ("socket", "create_connection", "getaddrinfo", "gethostbyname"):
        monkeypatch.setattr(socket, name, refuse)
    found = assessment(read_small(*nasty_changes()))
    assert result(found)["net_present_value"]
    assert assess_page(page_dict(found, command="riskcalc assess"))


#: Runs the command line under an audit hook that ends the process at anything a scenario has no business doing.
WATCHED = """
import os, sys
import riskcalc.cli
allowed = tuple(sys.argv[1].split(os.pathsep))
drawing = os.path.join(os.path.dirname(riskcalc.cli.__file__), "pages", "drawing.py")
# A library asks at its import whether the machine knows IPv6 by binding a socket to itself: nothing is sent by that.
ENDS = ("socket.connect", "socket.getaddrinfo", "socket.gethost", "socket.send", "subprocess.Popen",
        "os.system", "os.exec", "os.posix_spawn", "os.spawn", "os.fork", "pty.spawn",
        "urllib.", "webbrowser.", "ftplib.", "http.client", "smtplib.", "pickle.find_class")
def watch(event, values):
    if event == "pickle.find_class" and str(values[0]).split(".")[0] in ("numba", "numpy", "llvmlite", "builtins",
            "riskcalc", "copyreg", "collections", "functools", "_codecs"):
        return  # the cache of compiled loops
    if event == "pickle.find_class" and str(values[0]).split(".")[0] in ("babel", "datetime", "decimal"):
        return  # the data of languages, installed with the library that reads it
    if event == "subprocess.Popen" and values[1] == ["uname", "-p"]:
        return  # how the standard library asks for the name of the processor
    if event == "subprocess.Popen" and list(values[1]) == [sys.executable, "-P", drawing]:
        return  # the chart engine: a program of ours with fixed words
    if event == "subprocess.Popen" and "riskcalc.years.warm_up" in sys.modules and list(values[1]) == [
            sys.executable, "-P", "-c", sys.modules["riskcalc.years.warm_up"]._COMPILE]:
        return  # a first run compiles dispatch in a process of its own, with fixed words too
    if event.startswith(ENDS):
        os.write(2, f"WATCHED {event} {values}\\n".encode()); os._exit(99)
    if event == "open" and isinstance(values[0], str) and isinstance(values[2], int) and values[2] & 3:
        path = os.path.abspath(values[0])
        nameless = os.path.isdir(path)  # a file without a name, gone with the process
        if not path.startswith(allowed) and "__pycache__" not in path and path != os.devnull and not nameless:
            os.write(2, f"WATCHED written {path}\\n".encode()); os._exit(99)
sys.argv = ["riskcalc", *sys.argv[2:]]
sys.addaudithook(watch)
riskcalc.cli.main()
"""


def watched(words, *, cwd, allowed):
    """Run a command under the audit hook; only `allowed` folders may be written to."""
    places = ":".join(map(str, allowed))
    environment = {**os.environ, "RISKCALC_CACHE": "off"}
    return subprocess.run(
        [sys.executable, "-c", WATCHED, places, *map(str, words)],
        cwd=cwd,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.slow
def test_a_scenario_runs_nothing_and_writes_its_folder_only(small_file, tmp_path):
    """Under the interpreter's own audit: no process, no connection, no file opened for writing outside the report."""
    changes = [word for change in nasty_changes() for word in ("--set", change)]
    done = watched(["assess", small_file, *changes, "--out", "r"], cwd=tmp_path, allowed=[tmp_path / "r"])
    assert done.returncode == 0, done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["r", "small.toml"]


def test_the_audit_would_notice(small_file, tmp_path):
    """The same watch does end a run that writes where it may not: the test above can fail."""
    done = watched(["assess", small_file, "--out", "r"], cwd=tmp_path, allowed=[tmp_path / "elsewhere"])
    assert done.returncode == 99
    assert "WATCHED written" in done.stderr


@pytest.mark.slow
def test_a_run_does_without_a_network(here, small_file, tmp_path):
    """In a name space without any network device the command gives the same figures to the byte."""
    if shutil.which("unshare") is None:
        pytest.skip("no unshare on this machine")
    probe = subprocess.run(["unshare", "-rn", "true"], capture_output=True, check=False)
    if probe.returncode:
        pytest.skip("no name space may be made here")
    here("assess", small_file, "--out", "with", cwd=tmp_path)
    command = ["unshare", "-rn", sys.executable, "-m", "riskcalc", "assess", small_file, "--out", "without"]
    done = subprocess.run(list(map(str, command)), cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    for file in ("result.json", "draws.csv"):
        assert (tmp_path / "with" / file).read_bytes() == (tmp_path / "without" / file).read_bytes()


def test_no_module_can_run_text():
    """No module calls eval, exec or a shell, or imports an unpickler, a subprocess or a network library."""
    calls = {"eval", "exec", "compile", "__import__", "system", "popen", "Popen", "run_path", "import_module"}
    libraries = {"subprocess", "pickle", "marshal", "shelve", "socket", "urllib", "http", "ftplib", "requests", "yaml"}
    # Borders, each named with the reason why what it does is no way in.
    allowed = {
        # A cluster's scheduler, asked for by its address, runs what it is sent; what is unpacked are objects of ours
        # that the same run packed, never a file. The socket tries the address first.
        "answers/dask_border.py": {"pickle", "socket"},
        "jit.py": {"pickle"},  # compiled code, as numba keeps it: sealed, in a folder that holds code anyway
        # This very interpreter with a program of ours. What is unpacked there is what this process packed.
        "pages/engine.py": {"subprocess", "pickle"},
        "pages/drawing.py": {"pickle"},
        "years/warm_up.py": {"subprocess", "pickle"},
        "commands/weather.py": {"urllib"},  # `riskcalc weather` alone fetches something
        "weather/record.py": {"urllib", "http"},
        "live/server.py": {"socket"},  # `riskcalc live` serves this machine
    }
    wrong = []
    for path in sorted(PACKAGE.rglob("*.py")):
        name = path.relative_to(PACKAGE).as_posix()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                called = getattr(node.func, "id", getattr(node.func, "attr", ""))
                owner = getattr(getattr(node.func, "value", None), "id", "")
                # Their words are fixed: the audit holds those of the processes.
                ours = (name, called) in {
                    ("pages/engine.py", "Popen"),
                    ("years/warm_up.py", "Popen"),
                    ("pages/grammar.py", "import_module"),
                }
                if called in calls and owner not in ("re", "platform") and not ours:
                    wrong.append(f"{name}:{node.lineno} calls {called}")
            elif isinstance(node, ast.Import | ast.ImportFrom):
                named = [alias.name for alias in node.names] if isinstance(node, ast.Import) else [node.module or ""]
                met = {one.split(".")[0] for one in named} & libraries
                wrong += [f"{name} imports {library}" for library in sorted(met - allowed.get(name, set()))]
    assert wrong == []


def test_messages_carry_no_control_characters():
    """What a file holds cannot move the cursor, colour the terminal or fake a line of a message."""
    problem = one_problem("a\x1b[2J.csv", "ke\ny", "\x1b]0;title\x07\r\naccepted: all", "b\u202ec", "x" * 10_000)
    lines = str(problem).split("\n")
    assert len(lines) == 4
    assert all(line.isprintable() for line in lines)
    assert max(map(len, lines)) < 2100


def test_control_characters_of_a_weather_file_stay_out_of_the_message(tmp_path):
    """The header of a CSV file that is refused is told without its escape sequences."""
    from riskcalc.weather.files import read_csv_years

    (tmp_path / "w.csv").write_text("time,\x1b[31mghi\n1,2\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_csv_years(tmp_path / "w.csv", zone="UTC", label="start", latitude_deg=50, longitude_deg=0)
    assert "\x1b" not in str(caught.value)
