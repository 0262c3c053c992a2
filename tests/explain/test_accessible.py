"""The pages in a real browser: an accessibility checker finds nothing serious, and the chain folds by key and click.

axe-core (Deque Systems, MPL 2.0) runs inside a headless Chromium; both are fetched by .ci/run, none is shipped.
"""

import json
import re
import shutil
import subprocess
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from explain.chain import build, select
from explain.chainhtml import page as chain_page
from explain.draw import describe
from explain.papers import letter, sheet
from explain.papers.letter import Sender
from inference.diagnose import diagnose
from inference.read_case import read_case
from kb.model import Knowledge

ROOT = Path(__file__).parent.parent.parent
AXE = "axe-core@4.10.3"
CHROMIUM = next((p for name in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(name))), None)
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
         "--disable-background-networking", "--disable-component-update", "--virtual-time-budget=20000")  # fmt: skip

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium here; .ci/run installs it (apt-get install chromium)"),
]


@pytest.fixture(scope="module")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The checker's source, fetched by npm into a folder that goes away."""
    if shutil.which("npm") is None:
        pytest.skip("no npm here, which fetches the accessibility checker")
    place = tmp_path_factory.mktemp("axe")
    done = subprocess.run(["npm", "install", "--silent", "--no-audit", "--prefix", str(place), AXE], timeout=180)
    if done.returncode:
        pytest.skip(f"npm cannot fetch {AXE} here")
    return (place / "node_modules" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def html(knowledge: Knowledge) -> dict[str, str]:
    result = diagnose(read_case(ROOT / "clogwise" / "demo.yaml", knowledge), knowledge)
    whole = build(knowledge, result)
    graph = select(whole, result)
    return {
        "chain": chain_page(knowledge, result, graph, whole, result.case.name, describe(graph, result.case.name)),
        "sheet": sheet.html(knowledge, result),
        "letter": letter.html(knowledge, result, Sender("A. Customer", "The Workshop in the Lane")),
    }


def run_in_browser(html: str, script: str, place: Path) -> Any:
    """Open a page, run a script in it that fills ``out``, and return what it filled in."""
    place.mkdir(exist_ok=True)
    file = place / "page.html"
    report = (
        "<pre id='report'></pre><script>const report = (out) => "
        "{ document.getElementById('report').textContent = JSON.stringify(out); };</script>"
    )
    file.write_text(html.replace("</body>", f"{report}<script>{script}</script></body>"), encoding="utf-8")
    assert CHROMIUM is not None
    done = subprocess.run(
        [CHROMIUM, *FLAGS, f"--user-data-dir={place / 'profile'}", "--dump-dom", file.as_uri()],
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    found = re.search(r"<pre id=.report.>(.*?)</pre>", done.stdout, re.S)
    assert found is not None, done.stderr[-800:]
    assert found[1], "the script on the page reported nothing"
    return json.loads(unescape(found[1]))


@pytest.mark.parametrize("name", ["chain", "sheet", "letter"])
def test_the_checker_finds_nothing_serious(axe: str, html: dict[str, str], name: str, tmp_path: Path) -> None:
    script = axe.replace("</script", "<\\/script") + (
        ";axe.run(document, {resultTypes: ['violations']}).then((r) => report({violations: r.violations.map((v) => "
        "({id: v.id, impact: v.impact, at: v.nodes.slice(0, 3).map((n) => n.html.slice(0, 120))})), "
        "passes: r.passes.length}), (e) => report({failed: String(e)}));"
    )
    found = run_in_browser(html[name], script, tmp_path / name)
    assert found["passes"] > 10, "the checker has looked"
    assert [v for v in found["violations"] if v["impact"] in ("serious", "critical")] == []


def test_the_chain_folds_and_unfolds_by_click_and_keys(html: dict[str, str], tmp_path: Path) -> None:
    script = """
    const seen = () => document.querySelectorAll('.node:not([hidden])').length;
    const gate = document.getElementById('gate');
    const out = {first: seen(), expanded: [gate.getAttribute('aria-expanded')]};
    gate.click(); out.after = seen(); out.expanded.push(gate.getAttribute('aria-expanded'));
    gate.click(); out.again = seen(); out.expanded.push(gate.getAttribute('aria-expanded'));
    document.getElementById('least').click(); out.least = seen();
    document.getElementById('whole').click(); out.whole = seen();
    document.getElementById('first').click(); out.reset = seen();
    const node = document.querySelector('.node.finding.holds[aria-expanded]');
    node.click(); out.panel = document.getElementById('panel').textContent;
    node.focus();
    const key = new KeyboardEvent('keydown', {key: 'ArrowRight', bubbles: true, cancelable: true});
    node.dispatchEvent(key);
    out.moved = document.activeElement !== node && document.activeElement.classList.contains('node');
    out.buttons = [...document.querySelectorAll('.node')].every((n) => n.tagName === 'BUTTON' && n.tabIndex === 0);
    report(out);
    """
    out = run_in_browser(html["chain"], script, tmp_path)
    assert out["after"] != out["first"]
    assert len(set(out["expanded"])) == 2
    assert out["least"] < out["first"] < out["whole"]
    assert out["reset"] == out["first"]
    assert "rule " in out["panel"]
    assert "source:" in out["panel"]
    assert out["moved"]
    assert out["buttons"], "every node is a button: reached by the tab key, worked by Enter"
