// After an answer was put in: the keyboard is where it was, or as near as what is left allows, and a new price is said.

const heard = document.getElementById("heard");
let path = [];
let sum = document.querySelector("#total .sum")?.textContent;

const chain = (place) => {
  const ids = [];
  for (let one = place; one && one !== document.body; one = one.parentElement) if (one.id) ids.push(one.id);
  return ids;
};
const reachable = "a[href], button:not([disabled]), input:not([type=hidden]), select, textarea, summary";
const seen = (one) => one.getClientRects().length > 0;

function remember() {
  if (document.activeElement && document.activeElement !== document.body) path = chain(document.activeElement);
}

function back() {
  const now = document.activeElement;
  if (now && now !== document.body) return;
  for (const id of path) {
    const left = document.getElementById(id);
    if (!left || left.id === "main") continue;
    const at = left.matches(reachable) ? left : [...left.querySelectorAll(reachable)].find(seen);
    if (!at) continue;
    at.focus();
    return;
  }
}

function say() {
  const now = document.querySelector("#total .sum")?.textContent;
  if (heard && now && now !== sum) heard.textContent = heard.dataset.said.replace("{sum}", now.trim());
  sum = now;
}

document.addEventListener("htmx:beforeRequest", remember);
document.addEventListener("htmx:beforeSwap", remember);
document.addEventListener("htmx:afterSettle", () => {
  back();
  say();
});
document.addEventListener("htmx:afterRequest", () => setTimeout(() => {
  back();
  say();
}));
