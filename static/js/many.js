// Choosing many parts: how many are chosen, whole areas, and showing only some lines. Without this the boxes work as they are.

const list = document.getElementById("parts");
const form = document.getElementById("many");
const count = document.getElementById("many-count");
const none = document.getElementById("many-none");
const filter = document.getElementById("filter");
const filterSaid = document.getElementById("filter-said");
const seen = document.getElementById("seen-scope");

const lines = () => [...list.querySelectorAll(".part-line")];
const ticks = (place = list) => [...place.querySelectorAll("input[name=part]")];
const areas = () => [...list.querySelectorAll(".area")];
const areaTick = (area) => area.querySelector(".area-tick input");
const shown = (tick) => !tick.closest(".part-line").hidden;
const put = (place, text) => { if (place.textContent !== text) place.textContent = text; };
const say = (text, n, all = 0) => text.replace("{n}", n).replace("{all}", all);

function tell() {
  const chosen = ticks().filter((tick) => tick.checked);
  const away = chosen.filter((tick) => !shown(tick)).length;
  const { none: zero, one, many, hidden } = count.dataset;
  const words = chosen.length > 1 ? say(many, chosen.length) : chosen.length ? one : zero;
  put(count, away ? `${words}, ${say(hidden, away)}` : words);
  none.hidden = !chosen.length;
  form.closest(".tools").classList.toggle("tools-busy", Boolean(chosen.length));
  for (const area of areas()) {
    const own = ticks(area).filter(shown);
    const on = own.filter((tick) => tick.checked).length;
    const whole = areaTick(area);
    whole.checked = own.length > 0 && on === own.length;
    whole.indeterminate = on > 0 && on < own.length;
  }
}

function narrow() {
  const words = filter.value.toLowerCase().split(/\s+/).filter(Boolean);
  for (const area of areas()) {
    const name = area.querySelector("h2").textContent;
    for (const line of area.querySelectorAll(".part-line")) {
      const text = `${name} ${line.querySelector(".part-head").textContent}`.toLowerCase();
      line.hidden = !words.every((word) => text.includes(word));
    }
    area.hidden = ticks(area).every((tick) => !shown(tick));
  }
  const all = lines();
  put(filterSaid, words.length ? say(filterSaid.dataset.said, all.filter((line) => !line.hidden).length, all.length) : "");
  tell();
}

// Named, an area would mean all of its parts, those not shown too: the ticks of its parts speak for it.
function meet() {
  for (const area of areas()) areaTick(area).removeAttribute("name");
}

list.addEventListener("change", ({ target }) => {
  if (target.matches(".area-tick input")) for (const tick of ticks(target.closest(".area")).filter(shown)) tick.checked = target.checked;
  if (target.matches(".area-tick input, input[name=part]")) {
    tell();
    form.dispatchEvent(new Event("input", { bubbles: true }));
  }
});
none.addEventListener("click", () => {
  for (const tick of ticks()) tick.checked = false;
  tell();
  form.dispatchEvent(new Event("input", { bubbles: true }));
  document.getElementById("many-open").focus();
});
filter.addEventListener("input", narrow);
filter.addEventListener("keydown", (event) => {
  if (event.key === "Enter") event.preventDefault();
});
form.addEventListener("htmx:afterSwap", ({ detail }) => {
  if (detail.target.id === "many-ways") detail.target.querySelector("select, input:not([type=hidden])")?.focus();
});
// What we saved ourselves has been seen; a jump in the count was somebody else, and stays to be noticed.
document.addEventListener("htmx:afterSettle", () => {
  const now = Number(document.getElementById("total")?.dataset.scope);
  if (now === Number(seen.value) + 1) seen.value = now;
  meet();
  if (filter.value) narrow();
  else tell();
});
document.getElementById("filter-box").hidden = false;
meet();
tell();
