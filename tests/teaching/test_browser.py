"""A lesson as a person opens it: JupyterLab in a real browser, every slider moved."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

TEACHING = Path(__file__).parents[2] / "notebooks" / "teaching"
BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
DRIVER = shutil.which("chromedriver")
PATIENCE = 180.0  # seconds: a slow machine starts JupyterLab and a kernel

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        BROWSER is None or DRIVER is None,
        reason="no Chromium with its driver is installed (Debian: apt-get install chromium chromium-driver)",
    ),
]


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """Start JupyterLab on a copy of the lessons, apart from the user's own settings."""
    root = tmp_path_factory.mktemp("lab")
    lessons = root / "notebooks" / "teaching"
    shutil.copytree(TEACHING, lessons)
    shutil.copytree(TEACHING.parents[1] / "data-demo", root / "data-demo")
    own = {
        name: str(root / name.lower()) for name in ("JUPYTER_CONFIG_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR")
    }
    settings = {"JUPYTERLAB_SETTINGS_DIR": str(root / "set"), "JUPYTERLAB_WORKSPACES_DIR": str(root / "work")}
    with (root / "lab.log").open("wb") as log:
        server = subprocess.Popen(
            [
                sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ServerApp.port=0",
                "--IdentityProvider.token=lesson", f"--ServerApp.root_dir={root}", "--LabApp.news_url=None",
            ],
            env={**os.environ, **own, **settings}, stdout=log, stderr=log,
        )  # fmt: skip
    try:
        yield _address(root / "jupyter_runtime_dir", server, root / "lab.log"), lessons
    finally:
        server.terminate()
        server.wait(timeout=30)


def _address(runtime: Path, server: subprocess.Popen[bytes], log: Path) -> str:
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        assert server.poll() is None, log.read_text()
        for info in runtime.glob("jpserver-*.json"):
            return str(json.loads(info.read_text())["url"])
        time.sleep(0.2)
    raise AssertionError(log.read_text())


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Start a headless browser."""
    webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
    options = webdriver.ChromeOptions()
    options.binary_location = BROWSER
    for flag in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--window-size=1300,2200",
    ):
        options.add_argument(flag)
    options.add_argument(f"--user-data-dir={tmp_path_factory.mktemp('profile')}")
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(executable_path=DRIVER))
    yield driver
    driver.quit()


def _wait(browser: Any, look: Any, what: str) -> Any:
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        found = look()
        if found:
            return found
        time.sleep(0.1)
    browser.save_screenshot(str(Path(os.environ.get("TMPDIR", "/tmp")) / "lesson.png"))
    raise AssertionError(f"waited {PATIENCE:.0f} s for {what}")


def _all(browser: Any, css: str) -> list[Any]:
    return list(browser.find_elements("css selector", css))


def _open_and_run(browser: Any, address: str, name: str) -> None:
    browser.get(f"{address}lab/tree/notebooks/teaching/{name}.ipynb?token=lesson&reset")
    _wait(browser, lambda: _all(browser, ".jp-Notebook .jp-CodeCell"), "the notebook")
    # A kernel is there once the page names it; before that a menu entry would do nothing.
    _wait(
        browser,
        lambda: "Python 3" in browser.find_element("css selector", ".jp-KernelName").text,
        "the kernel",
    )
    _menu(browser, "Run", "Run All Cells")


def _menu(browser: Any, menu: str, entry: str) -> None:
    labels = _wait(
        browser,
        lambda: [e for e in _all(browser, ".lm-MenuBar-itemLabel") if e.text == menu],
        f"the menu {menu}",
    )
    labels[0].click()
    entries = _wait(
        browser,
        lambda: [e for e in _all(browser, ".lm-Menu-itemLabel") if e.text == entry],
        f"the entry {entry}",
    )
    entries[0].click()


_LABELS = """
return [...document.querySelectorAll(".widget-html [role=img]")].map(one => one.getAttribute("aria-label"))
"""


def _pictures(browser: Any) -> list[str]:
    """Return what each live figure shows, in the words it carries for those who cannot see it."""
    return list(browser.execute_script(_LABELS))


@pytest.mark.parametrize(("name", "figures"), [("2-excess-air", 1), ("4-flame", 2), ("7-reading-a-log", 2)])
def test_a_lesson_opens_in_jupyterlab_and_its_sliders_change_the_figure(
    lab: tuple[str, Path], browser: Any, name: str, figures: int
) -> None:
    from selenium.webdriver.common.keys import Keys

    address, _ = lab
    _open_and_run(browser, address, name)
    _wait(browser, lambda: len(set(_pictures(browser))) >= figures, "the figures")
    _wait(browser, lambda: _all(browser, "details"), "the answers")
    sliders = _all(browser, ".widget-slider .noUi-handle")
    assert len(sliders) >= 2 * figures - 1
    for slider in sliders:
        before = _pictures(browser)
        browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", slider)
        slider.send_keys(Keys.HOME)
        first = time.monotonic()
        slider.send_keys(Keys.PAGE_UP)
        _wait(
            browser,
            lambda seen=before: _pictures(browser) != seen,
            f"a slider of {name} to change its figure",
        )
        assert time.monotonic() - first < 10
    assert not _all(browser, ".jp-RenderedText[data-mime-type='application/vnd.jupyter.stderr']")
    assert not _all(browser, ".jp-OutputArea-output[data-mime-type='application/vnd.jupyter.error']")
    assert "Error displaying widget" not in browser.find_element("css selector", ".jp-Notebook").text
    # Answers stay folded until somebody asks for them.
    assert all(e.get_attribute("open") is None for e in _all(browser, "details"))
