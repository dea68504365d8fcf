// The list of parts by keyboard. Single letters never act while somebody types, and all of it can be switched off.

const OFF = "keys:off";
const list = document.getElementById("parts");
const note = document.getElementById("keys");
const opener = document.getElementById("keys-open");
const use = document.getElementById("keys-on");
const filter = document.getElementById("filter");

const main = document.getElementById("main");

const lines = () => [...list.querySelectorAll(".part-line:not([hidden]) > .part > summary")];
const typing = (place) => place.closest("input:not([type=checkbox], [type=radio]), select, textarea, [contenteditable]") !== null;
const lineOf = (place) => place.closest(".part-line")?.querySelector(".part > summary");
const on = () => use.checked;

function step(place, way) {
  const all = lines();
  const at = all.indexOf(lineOf(place));
  const next = at < 0 ? all[way > 0 ? 0 : all.length - 1] : all[at + way];
  next?.focus();
  return Boolean(next);
}

function toggleNote() {
  note.hidden = !note.hidden;
  opener.setAttribute("aria-expanded", String(!note.hidden));
  (note.hidden ? opener : note).focus();
}

const letters = {
  "/": () => filter.focus(),
  n: () => document.querySelector("#another-form [name=name]").focus(),
  m: () => document.getElementById("many-open").click(),
  "?": toggleNote,
};

function fold(place) {
  const step_ = place.closest("details.step, .step details[open]");
  const open = step_ ?? place.closest(".part[open]");
  if (!open || !list.contains(open)) return false;
  open.open = false;
  open.querySelector("summary").focus();
  return true;
}

// What is open goes before what is narrowed; a box of another form keeps what Escape does there.
function leave(place) {
  if (!note.hidden) {
    toggleNote();
    return true;
  }
  if (fold(place)) return true;
  if (!filter.value || (typing(place) && place !== filter)) return false;
  filter.value = "";
  filter.dispatchEvent(new Event("input", { bubbles: true }));
  return true;
}

function onLine(event, place) {
  if (event.key === " ") {
    const tick = place.closest(".part-line").querySelector(".tick input");
    tick.checked = !tick.checked;
    tick.dispatchEvent(new Event("change", { bubbles: true }));
    return true;
  }
  return false;
}

document.addEventListener("keydown", (event) => {
  const { target: place, key } = event;
  if (!on() || event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
  const line = place.matches(".part > summary") || place.matches(".tick input");
  let done = false;
  if (key === "Escape") done = leave(place);
  else if (line && (key === "ArrowDown" || key === "ArrowUp")) done = step(place, key === "ArrowDown" ? 1 : -1);
  else if (key === "ArrowDown" && [filter, document.body, main].includes(place)) done = step(list, 1);
  else if (place.matches(".part > summary") && onLine(event, place)) done = true;
  else if (letters[key] && !typing(place)) {
    letters[key]();
    done = true;
  }
  if (done) event.preventDefault();
});
// A summary folds and unfolds when the space bar is let go.
document.addEventListener("keyup", (event) => {
  if (on() && event.key === " " && event.target.matches(".part > summary")) event.preventDefault();
});

use.checked = localStorage.getItem(OFF) === null;
use.addEventListener("change", () => {
  if (use.checked) localStorage.removeItem(OFF);
  else localStorage.setItem(OFF, "yes");
});
opener.addEventListener("click", toggleNote);
opener.hidden = false;
