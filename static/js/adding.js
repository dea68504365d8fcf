// Many parts typed in a row: Enter adds the part and empties the boxes at once, so that the next name can follow while the
// last one is on its way. They go one after the other; what did not arrive is named and kept.

import { signedOut } from "./answered.js";
import { forget, keyFor, read, write } from "./kept.js";

const place = document.getElementById("adding");
const said = document.getElementById("adding-said");
const again = document.getElementById("adding-again");
const drop = document.getElementById("adding-drop");
const KEEPS = new Set(["area_name"]);
const form = () => document.getElementById("another-form");
const key = keyFor(form().dataset.adds);
const waiting = read(key) ?? [];
let going = false;
let typedOn = null;

function tell() {
  if (waiting.length) write(key, waiting);
  else forget(key);
  place.hidden = !waiting.length;
  again.hidden = drop.hidden = going;
  const text = going ? said.dataset.going : said.dataset.left;
  said.textContent = waiting.length ? text.replace("{names}", waiting.map(({ name }) => name).join(", ")) : "";
}

function empty() {
  for (const box of form().elements) {
    if (!box.name || KEEPS.has(box.name) || box.name === "csrfmiddlewaretoken") continue;
    if (box.name === "asked") box.value = "";
    else box.value = box.defaultValue ?? "";
    if (box.name === "name") box.value = "";
    if (box.name === "pieces") box.value = "1";
    if (box.options) box.selectedIndex = 0;
  }
  form().querySelector("[name=name]").focus();
}

const values = () => Object.fromEntries([...new FormData(form())].filter(([name]) => name !== "csrfmiddlewaretoken"));

async function send() {
  if (going || !waiting.length) return;
  going = true;
  tell();
  let arrived = false;
  const note = (event) => { arrived = event.detail.successful && !signedOut(event.detail.xhr); };
  place.addEventListener("htmx:afterRequest", note);
  await htmx.ajax("POST", form().action, { source: place, values: waiting[0], swap: "none" }).catch(() => {});
  place.removeEventListener("htmx:afterRequest", note);
  going = false;
  if (arrived) waiting.shift();
  tell();
  if (arrived) send();
}

document.addEventListener("submit", (event) => {
  if (event.target !== form()) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  const sent = values();
  if (!sent.name.trim()) {
    form().querySelector("[name=name]").focus();
    return;
  }
  waiting.push(sent);
  empty();
  if (typedOn) {
    form().querySelector("[name=name]").value = typedOn;
    typedOn = null;
  }
  send();
}, true);
// A part came back with a question: what was typed meanwhile waits until that one is settled.
document.addEventListener("htmx:oobBeforeSwap", ({ detail }) => {
  if (detail.target.id === "another-form") typedOn = detail.target.querySelector("[name=name]").value || typedOn;
});
document.addEventListener("htmx:oobAfterSwap", ({ detail }) => {
  if (detail.target.id !== "another-form") return;
  (form().querySelector(".field-wrong select, .field-wrong input") ?? form().querySelector("[name=name]")).focus();
});
again.addEventListener("click", send);
drop.addEventListener("click", () => {
  waiting.length = 0;
  tell();
  form().querySelector("[name=name]").focus();
});
tell();
