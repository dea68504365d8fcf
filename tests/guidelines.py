"""What keeps a page from being read and used: what axe-core finds against WCAG 2.2, level AA, and what is too small to hit.

Quick enough to look at every page.
"""

from pathlib import Path
from typing import Any

import axe_playwright_python
from playwright.sync_api import Page

SOURCE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text()

#: All rules of axe-core, with its advice beyond the guidelines.
EVERYTHING: dict[str, Any] = {}
# Source: WCAG 2.2, level AA, as the rules of axe-core name it.
WCAG: dict[str, Any] = {"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}
#: What alone can differ in the dark.
CONTRAST: dict[str, Any] = {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}

#: Contrast takes axe two thirds of its time, row for row of a long list. It is judged once for each look: the first element
#: with words of its own, or a box, among those whose styles are alike up to the root.
RUN = """(rules) => {
  const looks = new Map(), seen = new Set();
  const known = new Map();
  const lookOf = (one) => {
    if (!one) return "";
    if (!looks.has(one)) {
      const { color, backgroundColor, backgroundImage, opacity, fontSize, fontWeight, textShadow, position } = getComputedStyle(one);
      const look = [lookOf(one.parentElement), one.matches(":disabled, [aria-disabled]"), !!one.control?.disabled, color, backgroundColor,
        backgroundImage, opacity, fontSize, fontWeight, textShadow, position].join();
      if (!known.has(look)) known.set(look, known.size);
      looks.set(one, known.get(look));
    }
    return looks.get(one);
  };
  for (const one of document.querySelectorAll("[data-judged]")) one.removeAttribute("data-judged");
  const says = (one) => one.matches("input, select, textarea")
    || [...one.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.data.trim());
  for (const one of document.body.querySelectorAll("*")) {
    if (!says(one) || !one.checkVisibility({ visibilityProperty: true, opacityProperty: true }) || seen.has(lookOf(one))) continue;
    seen.add(lookOf(one));
    one.setAttribute("data-judged", "");
  }
  axe.configure({ rules: [{ id: "color-contrast", selector: "[data-judged]" }] });
  return axe.run({ ...rules, resultTypes: ["violations"], preload: false })
    .then(({ violations }) => violations.flatMap(({ id, nodes }) => nodes.map(({ target }) => `${id}: ${target}`)));
}"""

#: What a finger in a glove hits [CSS px]. Common practice, no source; WCAG 2.2, 2.5.5 (AAA) asks for 44.
GLOVE = 48
#: Buttons, links that stand alone, boxes with their labels: within the page, seen, and not in the head or in a sentence.
TOO_SMALL = """(least) => [...document.querySelectorAll('main a, main button, main select, main summary, main input:not([type=hidden])')]
  .filter((one) => one.checkVisibility() && !one.closest('.only-heard') && !one.closest('p, li > strong, dd, .about'))
  .map((one) => one.matches('[type=checkbox], [type=radio]') ? one.closest('label') ?? one : one)
  .map((one) => [one, one.getBoundingClientRect()])
  .filter(([one, box]) => box.width > 1 && (box.height < least || box.width < least))
  .map(([one, box]) => `${one.tagName} ${one.textContent.trim().slice(0, 30)} ${Math.round(box.width)}x${Math.round(box.height)}`)"""


def violations(page: Page, rules: dict[str, Any] = EVERYTHING) -> list[str]:
    """Each as the rule's name and where."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(SOURCE)
    return sorted({found.replace('[data-judged=""]', "") for found in page.evaluate(RUN, rules)})


def too_small(page: Page, least: int) -> list[str]:
    """What is to be tapped and is not ``least`` [CSS px] high and wide."""
    return list(page.evaluate(TOO_SMALL, least))
