// What somebody typed into a form marked data-keep outlives a failed request, a lost session and a closed lid:
// it waits in this tab until the server has taken it. Passwords and files are never kept.

import { drafts, forget, keyFor, notice, read, write } from "./kept.js";

const NEVER = new Set(["password", "file", "hidden", "submit", "button", "reset", "image"]);
const PAUSE = 200;
// A page of ours that answers opens this soon after the form has gone; a browser's own error page never does.
const ANSWERED_WITHIN = 3000;

const forms = () => [...document.querySelectorAll("form[data-keep]")];
const keyOf = (form) => keyFor(`${location.pathname}#${form.dataset.keep || form.getAttribute("action") || ""}`);
const boxes = (form) => [...form.elements].filter((box) => box.name && !NEVER.has(box.type));
const ticked = (box) => box.type === "checkbox" || box.type === "radio";
const valueOf = (box) => (ticked(box) ? box.checked : box.value);
const refused = (form) => Boolean(form.querySelector(".field-wrong, .notice-bad"));

function remember(form, sent) {
  const values = boxes(form).map((box) => [box.name, ticked(box) ? box.value : "", valueOf(box)]);
  write(keyOf(form), { values, sent });
}

function putBack(form, draft) {
  const waiting = [...draft.values];
  let changed = false;
  for (const box of boxes(form)) {
    const at = waiting.findIndex(([name, mark]) => name === box.name && mark === (ticked(box) ? box.value : ""));
    if (at < 0) continue;
    const value = waiting.splice(at, 1)[0][2];
    if (valueOf(box) === value) continue;
    if (ticked(box)) box.checked = value;
    else box.value = value;
    box.dispatchEvent(new Event("change", { bubbles: true }));
    changed = true;
  }
  return changed;
}

// A draft that was sent is done with when a page of ours answers, unless that page says otherwise.
function settle() {
  const cameBack = performance.getEntriesByType("navigation")[0]?.type === "back_forward";
  const stays = cameBack || "keepDrafts" in document.body.dataset;
  const again = new Set(forms().filter(refused).map(keyOf));
  for (const key of drafts()) {
    const draft = read(key);
    if (!draft?.sent) continue;
    const answered = Date.now() - (draft.left ?? 0) < ANSWERED_WITHIN;
    if (stays || !answered || again.has(key)) write(key, { ...draft, sent: false });
    else forget(key);
  }
}

function restore(form) {
  const draft = read(keyOf(form));
  if (!draft || refused(form) || !putBack(form, draft)) return;
  notice(form, () => {
    forget(keyOf(form));
    form.reset();
  });
}

function watch(form) {
  let timer = 0;
  form.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(() => remember(form, false), PAUSE);
  });
  form.addEventListener("submit", () => {
    clearTimeout(timer);
    remember(form, true);
  });
  form.addEventListener("htmx:afterRequest", (event) => {
    if (event.detail.elt === form && event.detail.successful) forget(keyOf(form));
    else remember(form, false);
  });
}

function leave() {
  for (const key of drafts()) {
    const draft = read(key);
    if (draft?.sent) write(key, { ...draft, left: Date.now() });
  }
}

settle();
window.addEventListener("pagehide", leave);
for (const form of forms()) {
  restore(form);
  watch(form);
}
for (const form of document.querySelectorAll("form[data-forget]")) {
  form.addEventListener("submit", () => drafts().forEach(forget));
}
