// A form that saves box by box loses nothing: not what is typed while an answer is on its way, not what did not
// arrive, not what stood there when the page was left.

import { signedOut } from "./answered.js";
import { boxAt, boxes, disputed, formsIn, isForm, mark, refused, seenIn, unsaved } from "./boxes.js";
import { drafts, forget, keyFor, notice, read, write } from "./kept.js";

const sent = new WeakMap();
const failed = new Set();
const met = new WeakSet();
const folded = new Set(drafts().flatMap((key) => read(key)?.within ?? []));
const keyOf = (form) => keyFor(form.dataset.saves);
const settles = (event) => event?.submitter?.name === "settle";
let changed = null;

function around(form) {
  const found = [];
  for (let place = form.closest("details[id]"); place; place = place.parentElement.closest("details[id]")) found.unshift(place.id);
  return found;
}

function remember(form) {
  const typed = boxes(form).filter(unsaved).map((box) => [box.name, box.input.value, box.seen.value]);
  if (typed.length) write(keyOf(form), { typed, within: around(form) });
  else forget(keyOf(form));
}

function put(form, values) {
  for (const [name, value, seen] of values) {
    const box = boxes(form).find((one) => one.name === name);
    if (!box) continue;
    box.input.value = value;
    box.seen.value = seen;
    mark(box, unsaved(box));
  }
}

// What was seen comes back with what was typed, so that another person's change in between is noticed.
function restore(form) {
  const draft = read(keyOf(form));
  const stored = new Map(boxes(form).map((box) => [box.name, box]));
  const lost = (draft?.typed ?? []).filter(([name, value]) => stored.has(name) && stored.get(name).input.value !== value);
  const fresh = lost.map(([name]) => [name, stored.get(name).input.value, stored.get(name).seen.value]);
  put(form, lost);
  remember(form);
  if (!lost.length) return;
  notice(form, () => {
    const waiting = new Set(boxes(form).filter(unsaved).map(({ name }) => name));
    put(form, fresh.filter(([name]) => waiting.has(name)));
    remember(form);
  });
}

// A form inside something folded is opened once, or nobody would see what came back.
function unfold() {
  for (const id of folded) {
    const place = document.getElementById(id);
    if (place) place.open = folded.delete(id);
  }
}

function meet() {
  for (const form of formsIn(document)) {
    if (met.has(form)) continue;
    met.add(form);
    restore(form);
  }
}

function sendAgain(except) {
  for (const form of failed) {
    if (!form.isConnected) failed.delete(form);
    else if (form !== except) form.requestSubmit();
  }
}

function choose(event) {
  const { elt: form, formData, triggeringEvent } = event.detail;
  if (!isForm(form)) return;
  const settling = settles(triggeringEvent);
  if (!settling) formData.delete("settle");
  const held = settling ? [] : boxes(form).filter(disputed);
  for (const box of held) [box.input.name, box.seen.name].forEach((name) => formData.delete(name));
  if (!settling && !boxes(form).some((box) => unsaved(box) && !held.some(({ name }) => name === box.name))) event.preventDefault();
  else sent.set(form, new Map(boxes(form).filter((box) => formData.has(box.name)).map((box) => [box.name, box.input.value])));
}

// Typed on while the answer was on its way: that stays, and what the answer stored is what was seen there.
function keepTyping(event) {
  const { target, fragment } = event.detail;
  for (const lost of formsIn(target)) if (boxes(lost).some(unsaved)) around(lost).forEach((id) => folded.add(id));
  const form = target.closest("form[data-saves]");
  const box = form && target.matches(".box") && boxAt(target);
  if (!box || sent.get(form)?.get(box.name) === box.input.value) return;
  event.detail.shouldSwap = false;
  box.seen.value = seenIn(fragment) ?? box.seen.value;
}

function answered(event) {
  const { elt: form, successful, xhr } = event.detail;
  if (!isForm(form)) return;
  const arrived = successful && !signedOut(xhr);
  if (arrived) failed.delete(form);
  else failed.add(form);
  for (const box of boxes(form)) {
    const waits = unsaved(box) && sent.get(form)?.get(box.name) === box.input.value;
    if (waits && !(arrived && refused(box))) mark(box, true);
  }
  if (!boxes(form).some(unsaved)) form.querySelector("[data-kept]")?.remove();
  remember(form);
  if (arrived) sendAgain(form);
}

document.addEventListener("input", ({ target }) => {
  if (!isForm(target.form)) return;
  remember(target.form);
  const box = boxes(target.form).find(({ input }) => input === target);
  if (box && !unsaved(box)) mark(box, false);
});
// Enter in a changed box says "change" and "submit" in one breath; the first has already sent it.
document.addEventListener("change", ({ target }) => {
  changed = target.form;
  setTimeout(() => { changed = null; });
}, true);
document.addEventListener("submit", (event) => {
  if (!isForm(event.target) || event.target !== changed || settles(event)) return;
  event.preventDefault();
  event.stopImmediatePropagation();
}, true);
document.addEventListener("htmx:configRequest", choose);
document.addEventListener("htmx:oobBeforeSwap", keepTyping);
document.addEventListener("htmx:afterRequest", answered);
document.addEventListener("htmx:load", () => {
  meet();
  unfold();
});
window.addEventListener("online", () => sendAgain(null));
